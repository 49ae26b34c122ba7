"""The one error a user's input can cause, and what Ctrl-C makes of others."""

from __future__ import annotations

ARGUMENT = "argument"
"""``where`` of an argument of a function, which is the ``key``; ``argument NAME`` if a part of it
is at fault. The commands show its option in its place."""


def interrupted(error: BaseException | None) -> bool:
    """Whether an error came up while Ctrl-C was on its way, as in what cleans up."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


class InputError(Exception):
    """Bad input, told in one line: where, which key, which value, what is allowed.

    Parameters
    ----------
    where : str
        File name, argument or folder the value came from.
    key : str
        Key, column or row at fault.
    value : object
        The value as read.
    allowed : str
        What would have been accepted.
    """

    def __init__(self, where: str, key: str, value: object, allowed: str) -> None:
        self.where = str(where)
        self.key = str(key)
        self.value = value
        self.allowed = allowed
        super().__init__(self.line)

    @property
    def line(self) -> str:
        """The message as one line of text."""
        shown = repr(self.value)
        if len(shown) > 80:
            shown = shown[:77] + "..."
        # Of a name that cannot be shown the rest would look like another.
        where = self.where if self.where.isprintable() else repr(self.where)
        text = f"{where}: {self.key} = {shown}; allowed: {self.allowed}"
        return " ".join(text.split())

    def __reduce__(self) -> tuple[type[InputError], tuple[str, str, object, str]]:
        # Exceptions cross process borders; rebuild from the four parts.
        return (InputError, (self.where, self.key, self.value, self.allowed))
