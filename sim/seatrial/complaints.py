"""What the system or a library complained of, as one part of a sentence of our own."""

LENGTH_MAX = 120


def complaint(error: BaseException) -> str:
    """Its first line, short, without a full stop; what the system says begins in lower case, as "permission denied".

    An error that says nothing is told by its kind.
    """
    system = getattr(error, "strerror", None)
    if system:
        return system[:1].lower() + system[1:]
    text = str(error) or type(error).__name__
    return text.splitlines()[0][:LENGTH_MAX].rstrip(".")
