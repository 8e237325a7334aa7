"""Every address and every callback, tried by every role and by nobody."""

import json
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard import sign_in as sign_in_pages
from dashboard.access import CALLBACKS, COOKIE, NO_ADDRESS, ROUTES, callback_name
from dashboard.headers import DASH_PAGES
from model.membership import WRONG_BY_NAME_HERE
from model.problems import StoreError
from tests.dashboard.visitors import HOME, ROLES, Visitors, an_item
from tests.model.people import PASSWORD

ALL = {"nobody", *ROLES}
READERS = set(ROLES)
RECORDERS = {"superintendent", "scheduler", "administrator"}
PLANNERS = {"scheduler", "administrator"}

WHO_MAY = {
    "GET /": READERS,
    "GET /<path:path>": READERS,
    "GET /_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": READERS,
    "GET /_dash-dependencies": READERS,
    "GET /_dash-layout": READERS,
    "GET /_favicon.ico": ALL,
    "GET /_reload-hash": READERS,
    "GET /account": READERS,
    "GET /api/attachments/<key>": READERS,
    "GET /api/day-book": READERS,
    "GET /api/entry-sheet": READERS,
    "GET /api/openapi.json": READERS,
    "GET /api/<path:rest>": READERS,
    "GET /api/plan/baseline": READERS,
    "GET /api/plan/calendar": READERS,
    "GET /assets/<path:filename>": ALL,
    "GET /context/<name>.geojson": READERS,
    "GET /entry": READERS,
    "GET /entry/palette.css": READERS,
    "GET /geometry/<name>.geojson": READERS,
    "GET /manifest.webmanifest": READERS,
    "GET /service-worker.js": READERS,
    "GET /sign-in": ALL,
    "GET /static/<path:filename>": ALL,
    "POST /_dash-update-component": READERS,
    "POST /account/password": READERS,
    "POST /account/tokens": READERS,
    "POST /account/tokens/<token_id>/revoke": READERS,
    "POST /api/attachments": RECORDERS,
    "POST /api/events": RECORDERS,
    "POST /api/plan/baseline/review": PLANNERS,
    "POST /api/whatif": PLANNERS,
    "POST /sign-in": ALL,
    "POST /sign-out": READERS,
    "POST /sign-out-everywhere": READERS,
    "PUT /api/plan/baseline": PLANNERS,
    "PUT /api/plan/calendar": PLANNERS,
}
"""Written by hand and not taken from the app: whoever adds an address says here who may."""

CALLBACK_MAY = {
    "page.children": READERS,
    "changes.data": READERS,
    "lag.data": READERS,
    "cycle-card.children": READERS,
    "history-title.children": READERS,
    "day-book.children": READERS,
    "line-whole.children": READERS,
    "line-seq.data": READERS,
    "line-lag.children": READERS,
    "line-chart.figure": READERS,
    "line-curve.figure": READERS,
    "line-cycles.figure": READERS,
    "line-drivers.children": READERS,
    "line-backtest.children": READERS,
    "pour-whole.children": READERS,
    "pour-seq.data": READERS,
    "pour-answer.children": READERS,
    "whatif-answer.children": PLANNERS,
    "whatif-file.data": PLANNERS,
    "plan-review.children": PLANNERS,
    "plan-told.children": PLANNERS,
}

FILLED = {"<path:path>": "daybook", "<path:rest>": "entry-shet",
          "<path:filename>": "style.css", "<name>": "0000",
          "<string:package_name>": "dash", "<path:fingerprinted_path>": "dash.js",
          "<token_id>": "abcd", "<key>": "0" * 64}  # fmt: skip
"""What stands for the open parts of an address."""

FITTING = {
    "url.pathname": "/line", "url.search": "?unit=E01", "seen-seq.data": 0,
    "settled.data": {"activity": "falsework", "date": "2026-03-02"}, "outlines.value": ["lag"],
    "selection.data": {"unit": "E01", "span": "1", "open": True, "opened": 1},
    "line-search.data": "", "line-seq.data": 0, "line-screen.data": {"narrow": False},
    "line-heading.value": "h1", "line-activity.value": "falsework",
    "line-chosen.data": {"unit": "E01", "units": ["E01"]}, "day-book-day.value": "2026-03-02",
    "case-1-name.value": "Two crews", "case-1-heading.value": "h1",
    "case-1-activity.value": "falsework", "case-1-crews.value": 2, "case-1-weather.value": "1",
    "plan-file.contents": "data:text/csv;base64,YQ==", "plan-workdays.value": ["Mon"],
    "plan-reviewed.data": {"text": "unit", "seen": "", "name": "b.csv"},
    "pour-which.data": {"unit": "E01", "activity": "deck_pour", "span": "",
                        "usual": {"rate": "45"}},
    "pour-seq.data": 0, "pour-rate.value": "50", "pour-start.value": "2026-03-30T06:30",
}  # fmt: skip
"""What a page sends of an input; nothing of those left out."""


@pytest.fixture
def visitors(tmp_path):
    return Visitors(tmp_path)


def routes_of(app):
    """Every address and method an app answers; HEAD and OPTIONS go with GET."""
    return {
        f"{method} {rule.rule}"
        for rule in app.server.url_map.iter_rules()
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }


def callbacks_of(app):
    return {key: wiring for key, wiring in app.callback_map.items() if "callback" in wiring}


def is_denied(answer):
    assert answer.status_code < 500, answer.text
    sent_to_sign_in = answer.headers.get("Location", "").startswith("/sign-in?next=")
    return answer.status_code in (401, 403) or sent_to_sign_in


def ask(visitors, route, who):
    """Send a request that makes sense to an address."""
    method, path = route.split(" ")
    for part, filling in FILLED.items():
        path = path.replace(part, filling)
    more = {}
    if path == "/sign-in" and method == "POST":
        more["data"] = {"name": "Owner", "password": PASSWORD}
    elif path == "/_dash-update-component":
        more["json"] = body_of(visitors.app, next(iter(callbacks_of(visitors.app))))
    elif path == "/api/events":
        more["json"] = {"events": [an_item()]}
    return visitors.send(method, path, who, **more)


def body_of(app, output):
    """What a browser sends to a callback."""
    wiring = app.callback_map[output]
    filled = {part: [{**one, "value": FITTING.get(f"{one['id']}.{one['property']}")}
                     for one in wiring[part]] for part in ("inputs", "state")}  # fmt: skip
    names = [part.rsplit(".", 1) for part in output.strip(".").split("...")]
    outputs = [{"id": name, "property": prop} for name, prop in names]
    return {"output": output, "outputs": outputs if output.startswith("..") else outputs[0],
            "changedPropIds": [], **filled}  # fmt: skip


# The tables


def test_the_table_of_this_test_names_every_address(visitors):
    assert routes_of(visitors.app) == set(WHO_MAY)


def test_the_table_of_this_test_names_every_callback_of_the_server(visitors):
    found = {callback_name(output) for output in callbacks_of(visitors.app)}
    assert found == set(CALLBACK_MAY)


def test_the_tables_of_the_app_name_nothing_that_is_not_there(visitors):
    assert set(ROUTES) <= routes_of(visitors.app)
    assert set(CALLBACKS) <= {callback_name(output) for output in callbacks_of(visitors.app)}


@pytest.mark.parametrize("who", sorted(ALL))
def test_every_address_lets_in_whom_it_should_and_nobody_else(visitors, who):
    let_in = {route for route in WHO_MAY if not is_denied(ask(visitors, route, who))}
    assert let_in == {route for route, may in WHO_MAY.items() if who in may}


@pytest.mark.parametrize("who", sorted(ALL))
def test_every_callback_answers_whom_it_should_and_nobody_else(visitors, who):
    answered = set()
    for output in callbacks_of(visitors.app):
        body = body_of(visitors.app, output)
        answer = visitors.send("POST", "/_dash-update-component", who, json=body)
        if not is_denied(answer):
            assert answer.status_code in (200, 204), answer.text
            answered.add(callback_name(output))
    assert answered == {name for name, may in CALLBACK_MAY.items() if who in may}


@pytest.mark.parametrize("who", ["owner", "nobody"])
def test_every_denied_try_is_in_the_audit_trail(visitors, who):
    tried = [route for route in WHO_MAY if is_denied(ask(visitors, route, who))]
    told = "\n".join(visitors.denied())
    for route in tried:
        name = "callback page.children" if "_dash-update" in route else route
        assert f"{who.title() if who != 'nobody' else who}: {name}: " in told


def test_what_is_in_no_table_is_refused_to_everybody(visitors):
    visitors.app.server.add_url_rule("/new", "new", lambda: "open by mistake")
    answer = visitors.send("GET", "/new", "administrator")
    assert answer.status_code == 403
    assert "open by mistake" not in answer.text
    assert visitors.denied() == ["Administrator: GET /new: in no table of rights"]


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE"])
def test_methods_nobody_uses_open_nothing(visitors, method):
    assert visitors.send(method, "/api/events", "administrator").status_code in (403, 405)
    assert visitors.send(method, "/api/events").status_code in (401, 403, 405)


# Without users


def test_without_users_this_machine_may_do_everything(tmp_path):
    visitors = Visitors(tmp_path, users=False)
    routes = WHO_MAY.keys() - {"POST /sign-in"}  # nobody is there to sign in as
    assert not [route for route in routes if is_denied(ask(visitors, route, "nobody"))]


@pytest.mark.parametrize("host", ["viaduct.example", "203.0.113.7:8050", "localhost.example"])
def test_without_users_a_name_that_leads_back_to_this_machine_opens_nothing(tmp_path, host):
    visitors = Visitors(tmp_path, users=False)
    for method, path in (("GET", "/api/entry-sheet"), ("POST", "/api/events")):
        headers = {"Host": host, "Origin": f"http://{host}"}
        assert visitors.send(method, path, headers=headers).status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost:8050", "[::1]:8050"])
def test_without_users_every_way_to_name_this_machine_works(tmp_path, host):
    visitors = Visitors(tmp_path, users=False)
    answer = visitors.send("GET", "/api/entry-sheet", headers={"Host": host})
    assert answer.status_code == 200
    assert answer.get_json()["me"] is None


def test_where_others_can_reach_it_nobody_is_let_in_without_users(tmp_path):
    visitors = Visitors(tmp_path, users=False, users_only=True)
    assert all(is_denied(ask(visitors, route, "nobody")) for route in WHO_MAY)


def test_the_first_user_shuts_the_door_at_once(tmp_path):
    visitors = Visitors(tmp_path, users=False)
    assert visitors.send("GET", "/api/entry-sheet").status_code == 200
    visitors.people.add("Ines Alder", "administrator", PASSWORD)
    assert visitors.send("GET", "/api/entry-sheet").status_code == 401


# Where a write comes from

FOREIGN = ["https://elsewhere.example", "null", "http://localhost.elsewhere.example",
           "https://localhost", "http://localhost:81",
           "http://elsewhere.example@localhost"]  # fmt: skip


@pytest.mark.parametrize("origin", FOREIGN)
@pytest.mark.parametrize("users", [True, False])
def test_a_write_from_another_sites_page_is_refused(tmp_path, origin, users):
    visitors = Visitors(tmp_path, users=users)
    who = "administrator" if users else "nobody"
    for route in [route for route in WHO_MAY if route.startswith(("POST", "PUT"))]:
        method, path = route.split(" ")
        answer = visitors.send(method, path.replace("<token_id>", "x"), who,
                               headers={"Origin": origin}, json={})  # fmt: skip
        if "_dash-update" not in route:
            assert answer.status_code == 403, route
    body = body_of(visitors.app, next(iter(callbacks_of(visitors.app))))
    answer = visitors.send("POST", "/_dash-update-component", who,
                           headers={"Origin": origin}, json=body)  # fmt: skip
    assert answer.status_code == 403
    assert "foreign origin" in visitors.denied()[-1]


def test_a_session_without_any_word_on_where_it_comes_from_writes_nothing(visitors):
    headers = visitors.signed_in("administrator")
    del headers["Origin"]
    answer = visitors.client.post("/api/events", json={"events": [an_item()]}, headers=headers)
    assert answer.status_code == 403
    fetched = {**headers, "Sec-Fetch-Site": "same-origin"}
    answer = visitors.client.post("/api/events", json={"events": [an_item()]}, headers=fetched)
    assert answer.status_code == 200
    for site in ("cross-site", "same-site"):
        crossed = {**headers, "Sec-Fetch-Site": site}
        answer = visitors.client.post("/api/events", json={"events": []}, headers=crossed)
        assert answer.status_code == 403


def test_reading_needs_no_origin(visitors):
    headers = visitors.signed_in("owner")
    headers["Origin"] = "https://elsewhere.example"
    assert visitors.client.get("/api/entry-sheet", headers=headers).status_code == 200


# Tokens


def test_a_token_does_what_its_scopes_say(visitors):
    reads = visitors.token("scheduler", "read")
    records = visitors.token("scheduler", "read", "record")
    post = {"json": {"events": [an_item()]}}
    assert visitors.client.get("/api/entry-sheet", headers=reads).status_code == 200
    assert visitors.client.post("/api/events", headers=reads, **post).status_code == 403
    assert visitors.client.post("/api/events", headers=records, **post).status_code == 200


def test_a_token_does_no_more_than_its_person_may_now(visitors):
    records = visitors.token("scheduler", "read", "record")
    visitors.people.set_role("Scheduler", "owner")
    answer = visitors.client.post("/api/events", headers=records, json={"events": [an_item()]})
    assert answer.status_code == 403


def test_an_expired_token_opens_nothing(visitors):
    reads = visitors.token("owner", "read", days=1)
    visitors.clock.later(days=1)
    assert visitors.client.get("/api/entry-sheet", headers=reads).status_code == 401


@pytest.mark.parametrize("path", ["/", "/account", "/entry", "/_dash-layout"])
def test_tokens_are_for_the_api_not_for_pages(visitors, path):
    reads = visitors.token("administrator", "read")
    assert is_denied(visitors.client.get(path, headers=reads))


@pytest.mark.parametrize("sent", ["Bearer", "Bearer  ", "Bearer vpm_x_y", "Basic dTpw", "Bearer é"])
def test_what_is_no_token_opens_nothing(visitors, sent):
    answer = visitors.client.get("/api/entry-sheet", headers={"Authorization": sent})
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Bearer"


def test_a_wrong_token_beside_a_good_session_counts_as_the_token(visitors):
    headers = {**visitors.signed_in("owner"), "Authorization": "Bearer vpm_x_y"}
    assert visitors.client.get("/api/entry-sheet", headers=headers).status_code == 401


# Signing in and out, by the forms


def sign_in(visitors, name="Owner", password=PASSWORD, **more):
    return visitors.send("POST", "/sign-in", data={"name": name, "password": password, **more})


def test_signing_in_gives_a_cookie_that_scripts_and_other_sites_cannot_use(visitors):
    answer = sign_in(visitors, next="/daybook?date=2026-03-02")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/daybook?date=2026-03-02")
    cookie = answer.headers["Set-Cookie"]
    for word in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/", "Max-Age="):
        assert word in cookie
    assert "Domain" not in cookie


@pytest.mark.parametrize(
    "onward", ["https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example",
               "javascript:alert(1)", "/a\r\nSet-Cookie: x=y", "", "é"]
)  # fmt: skip
def test_signing_in_leads_nowhere_else(visitors, onward):
    assert sign_in(visitors, next=onward).headers["Location"] == "/"


def test_a_page_that_needs_signing_in_comes_back_after_it(visitors):
    asked = visitors.send("GET", "/daybook?date=2026-03-02")
    assert asked.headers["Location"] == "/sign-in?next=/daybook%3Fdate%3D2026-03-02"
    page = visitors.send("GET", asked.headers["Location"])
    assert 'value="/daybook?date=2026-03-02"' in page.text


def test_wrong_passwords_are_throttled_until_the_clock_says_so(visitors):
    for _ in range(WRONG_BY_NAME_HERE):
        assert sign_in(visitors, password="not this one at all").status_code == 401
    answer = sign_in(visitors)
    assert answer.status_code == 429
    assert "Set-Cookie" not in answer.headers
    visitors.clock.later(seconds=int(answer.headers["Retry-After"]) + 1)
    assert sign_in(visitors).status_code == 303


def test_a_flood_of_sign_ins_leaves_room_for_who_is_signed_in(tmp_path, monkeypatch):
    monkeypatch.setattr(sign_in_pages, "AT_ONCE", 1)
    visitors, form = Visitors(tmp_path), {"name": "Owner", "password": PASSWORD}
    begun, go_on, real = threading.Event(), threading.Event(), visitors.people.sign_in

    def slow(*given):
        begun.set()
        go_on.wait(timeout=60)
        return real(*given)

    monkeypatch.setattr(visitors.people, "sign_in", slow)
    with ThreadPoolExecutor() as others:
        first = others.submit(visitors.send, "POST", "/sign-in", data=form)
        begun.wait(timeout=60)
        second = visitors.send("POST", "/sign-in", data=form)
        go_on.set()
    assert (first.result().status_code, second.status_code) == (303, 503)
    assert visitors.denied() == ["nobody: POST /sign-in: too many at once"]
    assert visitors.send("POST", "/sign-in", data=form).status_code == 303


def test_what_a_proxy_hands_on_as_an_address_and_is_none_is_not_kept_and_dodges_nothing(visitors):
    form = {"name": "Owner", "password": "not this one at all"}
    for number in range(WRONG_BY_NAME_HERE + 1):
        answer = visitors.send("POST", "/sign-in", data=form,
                               environ_base={"REMOTE_ADDR": f"\x1b[2J{number}"})  # fmt: skip
    assert answer.status_code == 429
    assert {line.address for line in visitors.people.trail(2)} == {NO_ADDRESS}


def test_a_wrong_name_and_a_wrong_password_look_alike(visitors):
    unknown = sign_in(visitors, name="Nobody At All")
    known = sign_in(visitors, password="not this one at all")
    assert (unknown.status_code, unknown.text) == (known.status_code, known.text)


def test_passwords_are_not_taken_over_plain_http_from_afar(visitors):
    answer = visitors.client.post(
        "/sign-in", base_url="http://viaduct.example", headers={"Origin": "http://viaduct.example"},
        data={"name": "Owner", "password": PASSWORD},
    )  # fmt: skip
    assert answer.status_code == 403
    assert "not encrypted" in answer.text
    safe = visitors.client.post(
        "/sign-in", base_url="https://viaduct.example",
        headers={"Origin": "https://viaduct.example"},
        data={"name": "Owner", "password": PASSWORD},
    )  # fmt: skip
    assert safe.status_code == 303
    assert "max-age" in safe.headers["Strict-Transport-Security"]


def test_signing_out_ends_this_session_and_everywhere_ends_all(visitors):
    here, there = visitors.signed_in("owner"), visitors.signed_in("owner")
    answer = visitors.client.post("/sign-out", headers=here, base_url=HOME)
    assert COOKIE in answer.headers["Set-Cookie"]
    assert visitors.client.get("/api/entry-sheet", headers=here).status_code == 401
    assert visitors.client.get("/api/entry-sheet", headers=there).status_code == 200
    third = visitors.signed_in("owner")
    visitors.client.post("/sign-out-everywhere", headers=third, base_url=HOME)
    for headers in (there, third):
        assert visitors.client.get("/api/entry-sheet", headers=headers).status_code == 401


def test_signing_in_over_somebody_elses_session_ends_it(visitors):
    former = visitors.signed_in("owner")
    form = {"name": "Scheduler", "password": PASSWORD}
    answer = visitors.client.post("/sign-in", data=form, headers=former, base_url=HOME)
    assert answer.status_code == 303
    assert is_denied(visitors.client.get("/account", headers=former, base_url=HOME))


def test_ones_password_changes_by_the_form_and_ends_every_session(visitors):
    headers = visitors.signed_in("owner")

    def change(old, new):
        return visitors.client.post("/account/password", headers=headers, base_url=HOME,
                                    data={"old": old, "new": new})  # fmt: skip

    assert change("not this one at all", "another night shift").status_code == 422
    assert change(PASSWORD, "short").status_code == 422
    assert change(PASSWORD, "another night shift").status_code == 303
    assert visitors.client.get("/api/entry-sheet", headers=headers).status_code == 401
    assert sign_in(visitors, password="another night shift").status_code == 303


def test_a_token_made_by_the_form_works_until_it_is_revoked_by_the_form(visitors):
    made = visitors.send("POST", "/account/tokens", "owner",
                         data={"label": "wall screen", "scope": ["read"], "days": "7"})  # fmt: skip
    text = made.text.split("<code>")[1].split("</code>")[0]
    bearer = {"Authorization": f"Bearer {text}"}
    assert visitors.client.get("/api/entry-sheet", headers=bearer).status_code == 200
    token_id = text.split("_")[1]
    others = visitors.send("POST", f"/account/tokens/{token_id}/revoke", "administrator")
    assert others.status_code == 404, "nobody revokes another's token here"
    visitors.send("POST", f"/account/tokens/{token_id}/revoke", "owner")
    assert visitors.client.get("/api/entry-sheet", headers=bearer).status_code == 401


def test_nobody_revokes_anothers_token_and_the_try_stands_in_the_trail(visitors):
    program = visitors.token("scheduler", "read")
    (token,) = visitors.people.tokens()
    answer = visitors.send("POST", f"/account/tokens/{token.token_id}/revoke", "owner")
    assert answer.status_code == 404
    assert visitors.client.get("/api/day-book", headers=program).status_code == 200
    told = "Owner: POST /account/tokens/<token_id>/revoke: no token of theirs"
    assert visitors.denied() == [told]


@pytest.mark.parametrize(
    "form", [{}, {"scope": ["record"], "days": "7"}, {"scope": ["read"], "days": "ten"},
             {"scope": ["read"], "days": "99999999999999999999"}, {"scope": ["read"], "days": "²"}]
)  # fmt: skip
def test_a_token_that_cannot_be_is_refused_by_the_form(visitors, form):
    answer = visitors.send("POST", "/account/tokens", "owner", data={"label": "x", **form})
    assert answer.status_code == 422
    assert visitors.people.tokens() == []


# What is too large or makes no sense


@pytest.mark.parametrize("who", ["nobody", "administrator"])
def test_bodies_that_are_too_large_are_refused_before_they_are_read(visitors, who):
    for path, size in (("/api/events", 2**20), ("/_dash-update-component", 2**20),
                       ("/sign-in", 2**14)):  # fmt: skip
        answer = visitors.send("POST", path, who, data=b"x" * (size + 1),
                               content_type="application/json")  # fmt: skip
        assert answer.status_code == 413, path


MALFORMED = ["", "{", "null", "[]", "1", '"x"', "{}", '{"output": 1}',
             '{"output": "nothing.x"}', "[" * 100_000,
             '{"output": ["a"]}', '{"output": {"a": {}}}', "\x00",
             "NaN"]  # fmt: skip


@pytest.mark.parametrize("body", MALFORMED, ids=range(len(MALFORMED)))
@pytest.mark.parametrize("who", ["nobody", "administrator"])
def test_callbacks_that_make_no_sense_are_refused_without_a_fault(visitors, body, who):
    answer = visitors.send("POST", "/_dash-update-component", who, data=body,
                           content_type="application/json")  # fmt: skip
    assert answer.status_code == 400


def test_callbacks_with_half_of_their_wiring_are_refused_without_a_fault(visitors):
    whole = body_of(visitors.app, next(iter(callbacks_of(visitors.app))))
    for part in ("inputs", "state"):
        for given in ([], [None], [{}], [{"id": "x"}], [1], "x", {"a": 1}, [[1]]):
            answer = visitors.send("POST", "/_dash-update-component", "owner",
                                   json={**whole, part: given})  # fmt: skip
            assert answer.status_code == 400, (part, given)


@pytest.mark.parametrize("output", [7, "x", [], {}, [1], [[1]], None, [{"id": "page"}]])
@pytest.mark.parametrize("callback", ["page.children", "lag.data"])
def test_callbacks_that_would_fill_something_else_are_refused(visitors, callback, output):
    found = next(name for name in callbacks_of(visitors.app) if callback_name(name) == callback)
    body = {**body_of(visitors.app, found), "outputs": output}
    answer = visitors.send("POST", "/_dash-update-component", "owner", json=body)
    assert answer.status_code == 400


# What strangers are told


def test_a_stranger_does_not_read_where_the_database_is(visitors, monkeypatch):
    def refused(*_):
        raise StoreError('The database server does not answer (connection to "db.internal").')

    monkeypatch.setattr(visitors.people._book, "known", refused)
    form = {"name": "Owner", "password": PASSWORD}
    answer = visitors.send("POST", "/sign-in", data=form)
    assert answer.status_code == 503
    assert "db.internal" not in answer.text


# Headers


@pytest.mark.parametrize("route", [route for route in WHO_MAY if route.startswith("GET")])
def test_every_answer_carries_the_security_headers(visitors, route):
    for who in ("nobody", "owner"):
        answer = ask(visitors, route, who)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe-eval" not in policy
        scripts = next(part for part in policy.split("; ") if part.startswith("script-src"))
        assert "unsafe-inline" not in scripts
        if route.split(" ")[1] not in DASH_PAGES:
            assert "unsafe-inline" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["X-Frame-Options"] == "DENY"


def test_what_a_signed_in_person_fetches_is_kept_by_no_cache_on_the_way(visitors):
    address = f"/geometry/{visitors.project.footprints.hash}.geojson"
    cache = visitors.send("GET", address, "owner").headers["Cache-Control"]
    assert "private" in cache
    assert "public" not in cache
    assert visitors.send("GET", "/api/entry-sheet", "owner").headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", ["/", "/line", "/account", "/_dash-layout", "/api/day-book"])
def test_a_shared_phone_shows_no_page_again_after_its_person_has_signed_out(visitors, path):
    assert visitors.send("GET", path, "owner").headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("way", ["/sign-out", "/sign-out-everywhere"])
def test_signing_out_empties_the_browsers_cache_and_leaves_what_shift_entry_keeps(visitors, way):
    # W3C, Clear Site Data, 3.2: "cache" is not "storage", which would take drafts too.
    assert visitors.send("POST", way, "owner").headers["Clear-Site-Data"] == '"cache"'


def test_a_project_name_with_a_script_in_it_is_text_on_the_plain_pages(visitors):
    odd = "<script>alert(1)</script>"
    page = visitors.send("GET", "/sign-in?next=/" + odd)
    assert odd not in page.text
    made = visitors.send("POST", "/account/tokens", "owner",
                         data={"label": odd, "scope": ["read"], "days": "7"})  # fmt: skip
    assert odd not in made.text
    assert json.dumps(odd) not in made.text
    assert "&lt;script&gt;" in made.text
