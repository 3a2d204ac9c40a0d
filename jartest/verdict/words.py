"""How a verdict is said: its shape, its word with the age it holds to, and its score."""

from __future__ import annotations

from jartest.plan.schedule import rounded_down_s, say_age
from jartest.verdict.values import Verdict, Word

__all__ = [
    "SHAPES",
    "say_aged",
    "say_remix",
    "say_score",
    "say_signed",
    "say_strained",
    "say_verdict",
    "say_word",
]

# The fuller the shape, the better it held; the word always stands beside it, so that nothing rests on color.
SHAPES: dict[Word | None, str] = {"pass": "●", "watch": "◐", "fail": "✖", None: "○"}


def say_word(word: Word | None) -> str:
    """A verdict's word with its shape: `● PASS`."""
    return f"{SHAPES[word]} {word.upper() if word else 'NO VERDICT'}"


def say_remix(remix: str) -> str:
    """How a jar re-mixed when it was turned over, as people say it: `does not re-mix`, `re-mixes partly`."""
    return "does not re-mix" if remix == "not at all" else f"re-mixes {remix}"


def say_aged(word: Word | None, age_s: float | None) -> str:
    """The word with the age that it holds to: `PASS to 30 min`; a fail holds whatever the age."""
    said = word.upper() if word else "NO VERDICT"
    if word in (None, "fail") or age_s is None:
        return said
    # Rounded down to what is said, so that no word says more than was seen.
    return f"{said} to {say_age(rounded_down_s(age_s))}"


def say_signed(word: Word | None, age_s: float | None, over: Word | None, seen_s: float | None = None) -> str:
    """A signed word with what it rests on: `PASS to 30 min`, `PASS over NO VERDICT, jar seen to 1 min`.

    Parameters
    ----------
    word : {"pass", "watch", "fail"} or None
        The word that was signed.
    age_s : float or None
        To which age the machine's verdict holds that the signer saw, in s.
    over : {"pass", "watch", "fail"} or None
        That verdict's word, None where it had none.
    seen_s : float or None
        The age of the last look at a jar without a verdict, in s, where it was asked for.
    """
    said = say_aged(word, age_s)
    if word in (None, "fail"):
        return said
    if over is None:
        seen = "" if seen_s is None else f", jar seen to {say_age(seen_s // 60 * 60)}"
        return f"{said} over NO VERDICT{seen}"
    if over == "fail":
        return f"{said} over the machine's FAIL"
    return said if age_s is not None else f"{said}, age not kept"


def say_score(word: Word | None, score: int | None) -> str:
    """The score: `90 of 100`; nothing without a word, and `no score` for a record from before there were any."""
    if word is None:
        return ""
    return "no score: judged before there were scores" if score is None else f"{score} of 100"


def say_verdict(word: Word | None, score: int | None = None, age_s: float | None = None) -> str:
    """Shape, word with its age, and score: `● PASS to 30 min · 90`."""
    tail = "" if word is None else f" · {'no score' if score is None else score}"
    return f"{SHAPES[word]} {say_aged(word, age_s)}{tail}"


def say_strained(verdict: Verdict) -> str:
    """`not strained` under a pass or watch that rests on no clean pour through a fine enough strainer, else nothing."""
    return "not strained" if verdict.word in ("pass", "watch") and not verdict.strained else ""
