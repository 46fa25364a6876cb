"""Words that ring nobody: who has it, and what runs again."""

from __future__ import annotations

from functools import partial

import msgspec

from kuraban.core.entries import BatchEnd
from kuraban.core.facts import Logged
from kuraban.core.texts import messages as wording
from kuraban.core.units import HOUR, MINUTE
from tests.core.house import Bell, brewing, mashing, moment

NIGHT = moment("2026-02-02T02:00")


def test_those_already_woken_hear_who_has_it() -> None:
    """In their own language, once each, and not she who answered."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(61).log("tank-3", "acknowledge", by="bun")
    told = bell.messages("notice")
    assert [(word.person, word.urgency) for word in told] == [("aki", "log")]
    assert "Bun" in told[0].text


def test_someone_who_left_the_house_does_not_stop_the_watch() -> None:
    """Bun was woken and is then off the site file; the answer still reaches the others."""
    bell = brewing(Bell(at=NIGHT))
    bell.find("tank-3", "warm")
    bell.on(61)
    house = bell.house
    people = tuple(person for person in house.people if person.id != "bun")
    rota = tuple(duty for duty in house.rota if duty.person != "bun")
    bell.change(msgspec.structs.replace(house, people=people, rota=rota))
    bell.log("tank-3", "acknowledge", by="dai")
    assert [word.person for word in bell.messages("notice")] == ["aki"]


def test_power_that_comes_back_is_told_to_both_who_must_look() -> None:
    night = mashing(at=moment("2026-02-02T00:00"))
    night.run(60)
    night.told = dict.fromkeys(night.told)
    night.run(40)
    assert night.steps("watch/dark") == ["raised"]
    night.told = {"t3-mid": 10.4, "t4-mid": 10.0, "s-air": 5.0}
    night.run(10)
    words = {word.person: word for word in night.messages("notice")}
    assert {"aki", "ken"} <= words.keys()
    assert "Tank 3" in words["ken"].text and "Tank 4" not in words["ken"].text


def test_a_report_goes_to_the_first_of_its_role_alone() -> None:
    bell = Bell(at=NIGHT)
    bell.engine.notifier.notices.to_role("brewer", NIGHT, partial(wording.monthly, NIGHT, ()))
    bell._drained()
    (word,) = bell.messages("notice")
    assert (word.person, word.role, word.urgency, word.alarms) == ("aki", "brewer", "log", ())


def test_an_entry_that_would_stop_the_watch_is_put_to_the_brewer() -> None:
    bell = brewing(Bell(at=NIGHT))
    bell.log("tank-3", "batch-end", by="dai")
    assert [(word.person, word.role) for word in bell.messages("notice")] == [("aki", "brewer")]


def test_a_remark_goes_to_the_crew_by_day_and_to_nobody_asleep() -> None:
    for hour, told in (("12:00", ["dai"]), ("02:00", [])):
        bell = brewing(Bell(at=moment(f"2026-02-02T{hour}")))
        bell.engine.notifier.notices.remark("tank-3", "moved", 0.4, bell.now)
        bell._drained()
        assert [word.person for word in bell.messages("notice")] == told


def test_a_mash_that_hardly_moved_in_the_dark_is_not_named() -> None:
    """Three tenths of a degree are as nothing; a little more is told, up or down."""
    for moved, told in ((0.25, False), (-0.25, False), (0.45, True), (-0.45, True)):
        night = mashing(at=moment("2026-02-02T00:00"))
        night.run(60)
        night.told = dict.fromkeys(night.told)
        night.run(40)
        night.told = {"t3-mid": 10.0 + moved, "t4-mid": 10.0, "s-air": 5.0}
        night.run(10)
        back = [word for word in night.messages("notice", "ken") if "went" not in word.title]
        assert any("Tank 3" in word.text for word in back) is told, moved


def test_koji_is_told_after_the_dark_though_it_stood_still() -> None:
    """It is looked at first, whatever became of it."""
    night = mashing(at=moment("2026-02-02T00:00"))
    night.log("bed-1", "batch-start", batch="K", course="koji")
    night.told["b1-mid"] = 32.0
    night.run(60)
    night.told = dict.fromkeys(night.told)
    night.run(40)
    night.told = {"t3-mid": 10.0, "t4-mid": 10.0, "s-air": 5.0, "b1-mid": 32.0}
    night.run(10)
    assert any("Koji bed 1" in word.body for word in night.messages("notice", "ken"))


def test_what_runs_again_is_told_of_what_cools_something_judged() -> None:
    """Of a cooler without a signal it is said that nobody knows."""
    night = mashing(at=moment("2026-02-02T00:00"))
    night.engine.notifier.notices.back_again(night.now - HOUR, night.now, night.now)
    night._drained()
    (word, other) = night.messages("notice")
    assert {word.person, other.person} == {"aki", "ken"}
    assert "Chiller 1" in word.body and "Chiller 2" not in word.body


def test_who_has_it_says_until_when() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(31).log("tank-3", "acknowledge", by="aki", for_="2h")
    (word,) = bell.messages("notice")
    assert word.person == "bun" and "4:31" in word.text
    assert (word.role, word.alarms) == ("brewer", ("tank-3/warm",))


def test_the_brewer_hears_of_a_tank_that_is_watched_no_more_or_as_another_batch() -> None:
    """Whichever it is, and by whom; not of what they did themselves."""
    bell = brewing(Bell(at=NIGHT))
    notices = bell.engine.notifier.notices
    entry = Logged("e9", "tank-3", BatchEnd(), NIGHT, NIGHT, "dai")
    notices.unwatched("tank-3", entry, ("dai",), NIGHT)
    notices.unwatched("store", entry, (None,), NIGHT)
    notices.unwatched("tank-3", entry, ("aki",), NIGHT)
    bell._drained()
    goes_on, no_more = bell.messages("notice")
    assert {goes_on.person, no_more.person} == {"aki"}
    assert "goes on as another batch" in goes_on.title and "Dai" in goes_on.title
    assert "is watched no more" in no_more.title and "by" not in no_more.title


def test_a_word_is_no_rung_of_any_ladder() -> None:
    bell = brewing(Bell(at=NIGHT))
    bell.find("tank-3", "warm")
    bell.on(31).log("tank-3", "acknowledge", by="aki")
    bell.log("tank-4", "batch-end", by="dai")
    bell.find("tank-3", "far-warm")
    told = bell.messages("notice")
    assert told and {word.rung for word in told} == {0}


def test_a_second_sign_is_told_softly_to_whoever_has_the_first_in_hand() -> None:
    """To nobody where somebody answered whom the house does not know."""
    for who, told in (("aki", [("aki", "brewer", "duty", 0)]), ("a guest", [])):
        bell = Bell(at=NIGHT)
        bell.find("tank-3", "cold")
        bell.log("tank-3", "acknowledge", by=who)
        heard = len(bell.messages("notice"))
        bell.on(5).find("tank-3", "overcooling")
        words = bell.messages("notice")[heard:]
        assert [(word.person, word.role, word.urgency, word.rung) for word in words] == told


def test_a_further_tank_of_a_dead_chiller_is_told_softly_to_whoever_was_rung() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken", for_="12h")
    bell.find("tank-3", "warm")
    bell.find("tank-4", "warm")
    (word,) = bell.messages("notice")
    assert (word.person, word.urgency, word.rung) == ("aki", "duty", 0)
    assert word.alarms == ("tank-4/warm",)


def test_the_brewer_hears_what_the_second_brewer_did() -> None:
    bell = brewing(Bell(at=NIGHT))
    entry = Logged("e9", "tank-3", BatchEnd(), NIGHT, NIGHT, "bun")
    bell.engine.notifier.notices.unwatched("tank-3", entry, ("bun",), NIGHT)
    bell._drained()
    assert [word.person for word in bell.messages("notice")] == ["aki"]


def test_what_moved_in_the_dark_in_a_tank_without_a_batch_is_nobodys_business() -> None:
    night = mashing(at=moment("2026-02-02T00:00"))
    night.run(60).log("tank-4", "batch-end", by="aki")
    night.told = {"t3-mid": 10.4, "t4-mid": 14.0, "s-air": 5.0}
    night.run(5)
    night.engine.notifier.notices.back_again(night.now - 10 * MINUTE, night.now, night.now)
    night._drained()
    word = night.messages("notice", "ken")[-1]
    assert "Tank 3" in word.text and "Tank 4" not in word.text
