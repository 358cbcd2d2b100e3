"""The state of a spa is said once: shape and word, then what the word does not say."""

from service.shell.templatetags.shell import fitness
from service.visits.fitness import Fitness


def state(word: str, sentence: str) -> Fitness:
    return Fitness("not_tested", word, "○", None, None, sentence)


def test_a_sentence_that_opens_with_the_word_does_not_say_it_twice() -> None:
    shown = fitness(state("Not tested since 10:00", "Not tested since 10:00. Do not let people in."))

    assert shown.count("Not tested since 10:00") == 1
    assert "Do not let people in." in shown


def test_a_sentence_that_opens_otherwise_is_shown_whole() -> None:
    shown = fitness(state("Closed", "Do not let people in. Closed since 10:00."))

    assert "Do not let people in. Closed since 10:00." in shown
