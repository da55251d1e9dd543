"""The questions asked one by one on a terminal; an answer that does not fit is asked for again."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sitegen.starting.answers import QUESTIONS, Answers, Around, Given, Question, Taking, Unfit


def ask(
    around: Around, given: Mapping[str, Given], listen: Callable[[str], str], say: Callable[[str], None]
) -> Answers:
    """Answers from somebody at a terminal; what was `given` as options is not asked.

    `listen` shows a text and returns a line; `say` shows a line. An `EOFError` of `listen` is passed on.
    """
    taking = Taking(around)
    say("A few questions. An empty line takes what stands in brackets; Ctrl-C stops, and nothing is written.")
    for question in QUESTIONS:
        if question.applies(taking.so_far):
            _one(question, taking, given.get(question.key), listen, say)
    return taking.answers()


def _one(
    question: Question, taking: Taking, given: Given | None, listen: Callable[[str], str], say: Callable[[str], None]
) -> None:
    if given is not None:
        try:
            taking.take(question, given.texts)
        except Unfit as fault:
            say(f"{question.option}: {fault.sentence()}")
        else:
            return
    default = taking.default(question)
    while True:
        line = listen(f"{question.ask}{f' [{default}]' if default else ''} ").strip()
        texts = question.parts(line or default or "")
        try:
            taking.take(question, texts)
        except Unfit as fault:
            say(f"  {fault.sentence()}")
        else:
            return
