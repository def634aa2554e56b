"""Exhaustive exploration of the real mission core: every course of a short dive with at most so many surprises.

    snapshot    copies of a running controller, and its situation as a key that can be compared
    sea         where the lander truly is, what its sensors say, the journal it finds after a reset
    acts        the alphabet: what sea, parts and people may do next, and what of it is a surprise
    watch       the laws, each a named check of one step
    voyage      controller, sea and watch together, moved on by one act
    search      all voyages up to a bound of surprises, shortest first
    retelling   a voyage as a file that can be replayed, and as faults of a rehearsal
"""
