"""A refusal: bad input answered in one plain sentence."""

from __future__ import annotations


class Refusal(ValueError):
    """Something given to the program cannot be used.

    The text is one plain sentence that says which thing, which rule, which value and what to do next.
    It is written to be shown to the person at the bench as it stands.

    Parameters
    ----------
    sentence
        The whole sentence.
    code
        A stable word for programs ("spec.roots-not-falling", "picture.unreadable"), never shown alone.
    """

    def __init__(self, sentence: str, *, code: str = "refused") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.code = code

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.sentence, self.code))


def _rebuild(kind: type[Refusal], sentence: str, code: str) -> Refusal:
    return kind(sentence, code=code)
