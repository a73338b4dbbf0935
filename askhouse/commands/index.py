"""askhouse index: make the index file, or bring it up to date."""

from __future__ import annotations

import time
from typing import Annotated

import typer

from askhouse.commands.shared import (
    JsonOption,
    KnowledgeOption,
    ModelOption,
    err,
    load_library,
    out,
    print_json,
    settings_for,
)

__all__ = ["index"]


def index(
    knowledge: KnowledgeOption = None,
    model: ModelOption = None,
    anew: Annotated[bool, typer.Option("--anew", help="Embed everything again.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Embed what is new or changed, and forget what is gone."""
    from rich.progress import Progress

    from askhouse.build import all_views
    from askhouse.encoder import open_encoder
    from askhouse.search.store import VectorStore
    from askhouse.search.views import views_of

    settings = settings_for(knowledge, model)
    library = load_library(settings)
    path = settings.index_file
    if anew:
        path.unlink(missing_ok=True)
    started = time.perf_counter()
    store = VectorStore(
        path, open_encoder(settings.model), lambda line: err.print(line, markup=False)
    )
    views = list(dict.fromkeys(all_views(library)))
    held = len(store)
    with Progress(console=err, transient=True) as progress:
        task = progress.add_task("embedding", total=len(views), visible=not as_json)

        def tell(done: int, total: int) -> None:
            progress.update(task, completed=done, total=total)

        # The reader reads each fact as a whole, which is its first view.
        store.words([views_of(fact)[0] for h in library.houses.values() for fact in h.facts], tell)
        store.vectors(views, tell)
    made = len(store) - held
    store.keep_only(views)
    store.save()
    facts = sum(len(house.facts) for house in library.houses.values())
    content = {
        "file": str(path),
        "houses": len(library.houses),
        "facts": facts,
        "views": len(views),
        "embedded": made,
        "forgotten": held + made - len(store),
        "seconds": round(time.perf_counter() - started, 2),
    }
    if as_json:
        print_json(content)
    else:
        out.print(
            f"{facts} facts of {len(library.houses)} houses under {len(views)} views; "
            f"{made} embedded, {content['forgotten']} forgotten, {content['seconds']} s",
            highlight=False,
        )
        out.print(str(path), highlight=False, soft_wrap=True)
