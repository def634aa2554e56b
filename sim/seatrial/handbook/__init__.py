"""Formulas and tables out of handbooks, each with its source. Knows nothing of plans, missions or files.

What goes where, one subject a module: `materials`, `shapes` (drag, added mass), `corrosion`, `shells` (pressure
housings), `chamber` (their test), `lamplight`, `convection`, `sun`, `sighting`, `leeway` (wind drift, positions);
`arguments` is what every formula asks of what it is given.
"""
