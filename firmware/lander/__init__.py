"""The mission core: integers only, no pins, no clock, no files. It imports nothing but itself."""

VERSION = "0.1.0"
