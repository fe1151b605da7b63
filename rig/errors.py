"""The one root of every error a user may meet."""


class RigError(Exception):
    """Something a person can mend: what was wrong, where, and what to do.

    The command line prints it as one line and exits with code 2. Programming errors are
    never wrapped in it: they must crash loudly in the tests.

    Args:
        what: what was wrong, with the offending value.
        where: the place (file, key, port, step) or "" when `what` already names it.
        remedy: what the person should do next.
        value: the offending value itself, for programs.
    """

    def __init__(
        self, what: str, *, where: str = "", remedy: str = "", value: object = None
    ) -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        self.value = value
        super().__init__(str(self))

    def __str__(self) -> str:
        line = f"{self.where}: {self.what}" if self.where else self.what
        return f"{line}; {self.remedy}" if self.remedy else line
