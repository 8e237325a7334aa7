"""The next pour: what it needs, from what counts already and what is typed.

The address carries which pour and what was typed, so that a plan can be sent to somebody. What
cannot be read gets a message beside its field, and everything else stays as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.pour_choice import pour_choice
from dashboard.parts.pour_fields import (
    FIELDS,
    POUR_PATH,
    PourAddress,
    Texts,
    Typed,
    asked_texts,
    pour_query,
    read_pour_address,
    read_typed,
    usual_texts,
    wrong_fields,
)
from dashboard.parts.pour_form import WEATHER_TOLD, field_id, missing_words, pour_form, told_id
from dashboard.parts.pour_sheet import in_short, pour_answer, pour_more
from model.next_pour import pours_of
from model.pour_answer import PourAnswer
from model.pours_ahead import PourAhead
from model.problems import InputError
from model.project import Project

PATH = POUR_PATH
NAME = "Next pour"
NO_POUR = "This job has no activity that places concrete."
ALL_POURED = "Everything that is planned is poured."
LEFT_OUT = "What cannot be read is left out of the figures; it stands beside its field."


def layout(project: Project, search: str = "") -> Component:
    """Return the page as the address asks for it."""
    return html.Section(
        html.Div(page_parts(project, search), id="pour-whole"), className="page page-pour"
    )


def page_parts(project: Project, search: str) -> list[Component]:
    """Return the choice of a pour, its form and what it needs."""
    ahead = project.pours_ahead()
    address = _which(project, read_pour_address(search), ahead)
    job = project.job
    choice = pour_choice(
        ahead, list(job.units["unit"]), pours_of(job), (address.unit, address.activity)
    )
    return [choice, *_pour_parts(project, address), frame.caution()]


def _which(project: Project, address: PourAddress, ahead: Sequence[PourAhead]) -> PourAddress:
    """Fill in which pour it is where the address does not say it all."""
    if address.unit and address.activity:
        return address
    own = ahead
    if address.unit in project.job.spans_of_unit:
        own = project.pours_ahead(address.unit)
    elif address.unit:
        own = ()
    fits = [one for one in own if address.activity in ("", one.activity.key)]
    if fits:
        return replace(address, unit=fits[0].unit, activity=fits[0].activity.key)
    pours = pours_of(project.job)
    return replace(address, activity=address.activity or (pours[-1].key if pours else ""))


def _pour_parts(project: Project, address: PourAddress) -> list[Component]:
    if not address.unit:
        words = ALL_POURED if pours_of(project.job) else NO_POUR
        return [frame.notice("empty", words)]
    try:
        usual = project.pour(address.unit, address.activity, span=address.span)
    except InputError as error:
        return [_cannot(error)]
    return _planned(project, replace(address, activity=usual.plan.activity.key), usual)


def _planned(project: Project, address: PourAddress, usual: PourAnswer) -> list[Component]:
    texts = usual_texts(usual)
    wanted = asked_texts(address.texts, texts)
    typed, answer = _reckon(project, address, wanted)
    notes = [frame.notice("warning", LEFT_OUT)] if typed.wrong else []
    which = {"unit": address.unit, "activity": address.activity, "span": address.span}
    return [
        dcc.Store(id="pour-which", data={**which, "usual": texts}),
        dcc.Store(id="pour-seq", data=project.last_seq()),
        dcc.Store(id="pour-heard"),
        dcc.Store(id="pour-said", data=_said(address, wanted, typed.wrong)),
        frame.growth_clock("pour-refresh"),
        html.P(id="pour-in-short", className="only-read-aloud", role="status"),
        *notes,
        html.Div(
            [
                html.Div(pour_answer(answer or usual), id="pour-answer"),
                html.Section(
                    [
                        html.H2("What it goes by"),
                        pour_form(usual.plan, usual.shown, texts, wanted, typed.wrong,
                                  typed.missing),
                        html.Div(
                            [
                                html.Button("Print", id="pour-print", type="button",
                                            className="button"),
                                html.A("As usual again", className="button",
                                       href=PATH + pour_query(replace(address, texts={}))),
                            ],
                            className="controls",
                        ),
                    ],
                    className="pour-asked",
                ),
                html.Div(pour_more(answer or usual, wanted), id="pour-more"),
            ],
            className="pour-columns",
        ),
    ]  # fmt: skip


def _reckon(
    project: Project, address: PourAddress, texts: Texts
) -> tuple[Typed, PourAnswer | None]:
    """Return what was typed, read, and the answer to what could be; None where there is none."""
    typed = read_typed(texts, project.job.units_system, address.span)
    try:
        return typed, project.pour(address.unit, address.activity, **typed.asked)
    except InputError as error:
        wrong = wrong_fields(error.problems, dict.fromkeys(FIELDS))
        if not wrong:
            raise
        return replace(typed, wrong={**typed.wrong, **wrong}), None


def _said(address: PourAddress, texts: Texts, wrong: Texts) -> dict[str, Any]:
    """Return what the browser is told: the address of what is shown, and which fields are wrong.

    While something is wrong the address stays that of what is still shown.
    """
    query = None if wrong else pour_query(replace(address, texts=dict(texts)))
    return {"query": query, "wrong": [field_id(key) for key in wrong]}


def register(app: dash.Dash, project: Project) -> None:
    """Wire the page to an app."""
    _register_choice(app, project)
    _register_growth(app, project)
    _register_answer(app, project)
    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction("pourmap", "pourSaid"),
        Output("pour-heard", "data"),  # by which it is called for a new page too
        Input("pour-said", "data"),
    )
    in_browser(
        ClientsideFunction("pourmap", "printPage"),
        Input("pour-print", "n_clicks"),
        prevent_initial_call=True,
    )


def _register_choice(app: dash.Dash, project: Project) -> None:
    """Show another pour when its link is followed, or the browser goes back."""

    @app.callback(
        Output("pour-whole", "children"),
        Input("url", "search"),
        State("url", "pathname"),
        prevent_initial_call=True,
    )
    def show_pour(search: str | None, path: str | None) -> Any:
        return page_parts(project, search or "") if path == PATH else no_update


def _register_growth(app: dash.Dash, project: Project) -> None:
    """Look every few seconds whether the log has grown.

    On its own, for of two askings of one callback only the later one is heard: a tick would
    take away the answer to what was just typed.
    """

    @app.callback(
        Output("pour-seq", "data"),
        Input("pour-refresh", "n_intervals"),
        State("pour-seq", "data"),
        prevent_initial_call=True,
    )
    def look_for_more(_: int, seen: int) -> Any:
        newest = project.last_seq()
        return no_update if newest == seen else newest


def _register_answer(app: dash.Dash, project: Project) -> None:
    """Answer what is typed, and anew when the log has grown."""

    @app.callback(
        Output("pour-answer", "children"),
        Output("pour-more", "children"),
        Output("pour-in-short", "children"),
        Output("pour-said", "data"),
        Output(WEATHER_TOLD, "children"),
        *(Output(told_id(key), "children") for key in FIELDS),
        *(Input(field_id(key), "value") for key in FIELDS),
        Input("pour-seq", "data"),
        State("pour-which", "data"),
        prevent_initial_call=True,
    )
    def answer_typed(*given: Any) -> tuple[Any, ...]:
        *values, _, which = given
        texts = asked_texts(dict(zip(FIELDS, values, strict=True)), which["usual"])
        address = PourAddress(which["unit"], which["activity"], which["span"] or "")
        shown, typed = _answered(project, address, texts)
        told = [typed.wrong.get(key, "") for key in FIELDS]
        said = _said(address, texts, typed.wrong)
        return *shown, said, missing_words(typed.missing), *told


def _answered(
    project: Project, address: PourAddress, texts: Texts
) -> tuple[tuple[Any, Any, str], Typed]:
    """Return what to show, and what was typed, read; what is wrong changes nothing shown."""
    try:
        typed, answer = _reckon(project, address, texts)
    except InputError as error:  # poured meanwhile, say
        return ([_cannot(error)], [], ""), Typed({}, {}, ())
    if typed.wrong or answer is None:
        return (no_update, no_update, ""), typed
    return (pour_answer(answer), pour_more(answer, texts), in_short(answer)), typed


def _cannot(error: InputError) -> Component:
    told = [f"{problem.message} {problem.fix}" for problem in error.problems]
    return frame.notice("warning", "That pour cannot be planned", told)
