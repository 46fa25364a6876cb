"""What a shell may complete: ids of the house whose site file is meant."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import typer

from kuraban.core.site import House
from kuraban.errors import KurabanError
from kuraban.settings.files.courses import built_in_courses
from kuraban.settings.paths import settings_at

Complete = Callable[[typer.Context, str], list[str]]


def _of_house(ids: Callable[[House], Iterable[str]]) -> Complete:
    """Never raises: where no site file can be read there is nothing to complete."""

    def complete(ctx: typer.Context, incomplete: str) -> list[str]:
        try:
            known = ids(settings_at(ctx.params.get("site"), secrets=False).house)
        except KurabanError:
            return []
        return [own for own in known if own.startswith(incomplete)]

    return complete


places = _of_house(lambda house: house.place)
people = _of_house(lambda house: house.person)
subjects = _of_house(lambda house: ["watch", *house.place, *house.cooler, *house.probe])
_courses = _of_house(lambda house: house.course)


def courses(ctx: typer.Context, incomplete: str) -> list[str]:
    """Where there is no site file, those that come with the watch."""
    built_in = [one.id for one in built_in_courses() if one.id.startswith(incomplete)]
    return _courses(ctx, incomplete) or built_in
