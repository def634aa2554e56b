"""A plan worked out: what a dive comes to, chapter by chapter, and what in it does not add up.

The numbers come from the models of the simulated sea and from `seatrial.handbook`. Each chapter is one module with its
numbers as a dataclass, which other chapters may use, and `chapter(plan)`, which puts them into the common form of
`chapter`. `whole` puts all of them together. Table, page, card and JSON are made from that form.
"""
