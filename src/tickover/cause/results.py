"""Shapes of what the reasoning about causes answers."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from tickover.results import CannotTell, Measured, Result

Name = Literal[
    "healthy",
    "old memory",
    "lost memory",
    "misfire counters",
    "memory cleared",
    "leak",
    "air meter",
    "fuel error",
    "weak pump",
    "injector dead time",
    "dead coil",
    "tired battery",
    "stuck thermostat",
    "coolant sensor",
    "something else",
]
Family = Literal["sound", "stale", "fault", "else"]
Finding = Literal["stale", "fault", "sound", "just cleared", "cannot tell"]
Advice = Literal["relearn", "relearn again", "do not relearn", "wait and watch"]
Likeliness = Literal["unlikely", "possible", "likely"]
Speaks = Literal[
    "strongly for", "for", "a little for", "neither way", "a little against", "against", "strongly against"
]

LITTLE = 0.15
"""A test that tells less moves what is held only a little [bit]. Own choice."""


class Speaking(Result):
    """What one piece of evidence says of one group.

    Attributes:
        evidence: which piece, in words with its number.
        speaks: which way, and how strongly.
        bits: weight of evidence against all other causes [bit]; negative speaks against.
        why: what this cause would have led to expect, where a number can be said.
    """

    evidence: str
    speaks: Speaks
    bits: float
    why: str = ""


class Cause(Result):
    """One cause.

    Attributes:
        name: for scripts.
        says: in words.
        family: sound, stale memory, fault, or something else.
        share: its part of the probability [1].
        size: how large it would be, where that is asked for and can be said.
    """

    name: Name
    says: str
    family: Family
    share: float = Field(ge=0, le=1)
    size: Measured | None = None


class Group(Result):
    """Causes that the evidence at hand cannot tell apart; often one alone.

    Attributes:
        causes: its members; their order says nothing.
        says: the group in words.
        probability: that the cause is among them [1].
        lo, hi: the range it takes when base rates and model are off as far as they may be [1].
        likely: unlikely under 20 %, possible, likely over 50 %.
        tied_because: why the members cannot be told apart; empty for one alone.
        evidence: what speaks for and against, strongest first.
    """

    causes: tuple[Cause, ...] = Field(min_length=1)
    says: str
    probability: float = Field(ge=0, le=1)
    lo: float = Field(ge=0, le=1)
    hi: float = Field(ge=0, le=1)
    likely: Likeliness
    tied_because: str = ""
    evidence: tuple[Speaking, ...] = ()

    @property
    def names(self) -> frozenset[str]:
        """Names of its causes."""
        return frozenset(c.name for c in self.causes)


class Outcome(Result):
    """What one outcome of a test would decide.

    Attributes:
        outcome: in words.
        chance: of it [1].
        decides: what would be said after it.
        changes: whether that is another answer than now.
    """

    outcome: str
    chance: float = Field(ge=0, le=1)
    decides: str
    changes: bool = False


class NextTest(Result):
    """A test that is worth doing.

    Attributes:
        name: for scripts.
        act: what to do.
        bits: how far it is expected to move what is held of the causes [bit].
        changes: chance that the answer is another one after it [1].
        minutes: with fetching what it needs [min].
        needs: what must be at hand.
        cautions: at the step.
        outcomes: what each would decide.
        why: why it goes first; empty for a further test.
        finds: whether it finds the place of the leading cause too.
        pays: whether it may change the answer at a price that is worth it.
        option: of the door that takes its result, with what to write; filled in by that door.
    """

    name: str
    act: str
    bits: float = Field(ge=0)
    changes: float = Field(default=0.0, ge=0, le=1)
    minutes: float
    needs: str
    cautions: tuple[str, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    why: str = ""
    finds: bool = False
    pays: bool = True
    option: str = ""

    @property
    def often(self) -> str:
        """How often the answer is another one or a narrower one after it, in words; empty where that cannot be said."""
        tenths = round(10 * self.changes)
        if not self.outcomes or not (self.changes or self.bits):
            return ""
        told = "seldom" if tenths < 1 else "nearly always" if tenths > 9 else f"about {tenths} times in 10"
        little = ", but only a little" if tenths > 4 and self.bits < LITTLE else ""
        return f"moves the answer {'about once in 10' if tenths == 1 else told}{little}"


class Pull(Result):
    """Two pieces of evidence that no one cause on the list makes together.

    Attributes:
        sort: "at odds" where one speaks against what the other speaks for; "two faults" where each speaks of its own.
        one, other: the pieces, in words.
        bits: how much worse the best one cause explains both than each is explained by its own best [bit]; None for
            two banks that are off each its own way.
        again: which of them to do again first, in words; empty where that would not change the answer.
        says: all of it in words.
    """

    sort: Literal["at odds", "two faults"] = "at odds"
    one: str
    other: str
    bits: float | None
    again: str
    says: str


class Causes(Result):
    """What is acting, as far as it can be told.

    Attributes:
        sentence: the finding in one sentence.
        finding: stale, fault, sound, just cleared, or cannot tell.
        advice: relearn, relearn again, do not relearn, or wait and watch.
        advice_says: the advice in words.
        advice_because: why.
        advice_how: how to go about it; empty where there is nothing to do.
        advice_cautions: at that step, or where no test goes before, at what is to be acted on.
        pull: two pieces of evidence that pull against each other; None where none do.
        next_test: the test to do next; where none would change the answer, what to act on.
        tests: further ones, best first.
        spare: others, which seldom change the answer or cost more than acting wrongly would.
        groups: causes in tied groups, likelier ones first; something else always among them.
        hole: the leak as an equivalent round hole [mm], or why it cannot be said.
        evidence: every piece used, with its spread and how it was got.
        disagree: what two sources tell differently, and which of them was counted in; told by the door that has them.
        unused: pieces that were not used, each with its reason.
        cannot_tell: what stays open, and what would tell.
        condition: how well the causes that lead can be told apart, as a sentence; empty where there is no evidence.
        excluded: what the readings speak against, in words; told where they speak of no fault.
        unseen: what the readings cannot show, in words; told where they speak of no fault.
        rests_on: what it rests on.
    """

    kind: Literal["causes"] = "causes"
    sentence: str
    finding: Finding
    advice: Advice
    advice_says: str = ""
    advice_because: str
    advice_how: str = ""
    advice_cautions: tuple[str, ...] = ()
    pull: Pull | None = None
    next_test: NextTest | CannotTell
    tests: tuple[NextTest, ...] = ()
    spare: tuple[NextTest, ...] = ()
    groups: tuple[Group, ...] = Field(min_length=1)
    hole: Measured
    evidence: tuple[str, ...] = ()
    disagree: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    cannot_tell: tuple[CannotTell, ...] = ()
    condition: str = ""
    excluded: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()
    rests_on: tuple[str, ...] = ()

    def group_of(self, name: str) -> Group:
        """The group a cause is in.

        Raises: KeyError for a cause that is in none.
        """
        for group in self.groups:
            if name in group.names:
                return group
        raise KeyError(name)
