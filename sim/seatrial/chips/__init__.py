"""Simulated chips: each answers on its bus with the registers and bytes of its datasheet, so that a driver is tried
against what the wires really carry. One file a chip; `buses` holds the buses, with the methods that MicroPython's
`machine` module gives a board.
"""
