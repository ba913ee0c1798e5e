"""Pages that work without scripts: signing in, pairing, the account, and uploading a larger file."""

from __future__ import annotations

from typing import Any

from jinja2 import DictLoader, Environment

FRAME = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{{ title }}</title><link rel="stylesheet" href="/assets/style.css"></head>
<body class="plain"><main>{% block content %}{% endblock %}</main></body></html>"""

PARTS = """{% macro faults(told) %}{% if told %}<ul class="faults" role="alert">
{% for fault in told %}<li>{{ fault }}</li>{% endfor %}</ul>{% endif %}{% endmacro %}
{% macro field(name, words, kind, most, complete) %}<label>{{ words }}
<input name="{{ name }}" type="{{ kind }}" maxlength="{{ most }}" autocomplete="{{ complete }}"
autocapitalize="none" spellcheck="false" required></label>{% endmacro %}"""

START = """{% extends "frame" %}{% import "parts" as parts %}{% block content %}"""

SIGN_IN = """
<h1 class="sentence">Sign in to the board{% if shop %} of {{ shop }}{% endif %}.</h1>
{{ parts.faults(faults) }}
<form method="post" class="form">
<input type="hidden" name="next" value="{{ next }}">
{{ parts.field("name", "Name", "text", 60, "username") }}
{{ parts.field("password", "Password", "password", 200, "current-password") }}
<button>Sign in</button></form>
<p><a href="/pair">Pair a wall screen or a phone with a code</a></p>"""

PAIR = """
<h1 class="sentence">Pair this screen: enter the code that the account page of the board shows.</h1>
{{ parts.faults(faults) }}
<form method="post" class="form">
{{ parts.field("code", "Code", "text", 20, "one-time-code") }}
<button>Pair</button></form>
<p class="soft">A paired screen shows every page and can write nothing.</p>
<p><a href="/sign-in">Sign in with a name instead</a></p>"""

ACCOUNT = """
<h1 class="sentence">{{ sentence }}</h1>
{% if told %}<p class="told" role="status">{{ told }}</p>{% endif %}
{% if code %}<div role="status"><p>Open <strong>{{ pair_at }}</strong> on the screen and enter this code
within ten minutes; it works once.</p><p class="sentence code">{{ code }}</p></div>{% endif %}
{{ parts.faults(faults) }}
{% if session %}
<div class="acts"><form method="post" action="/sign-out"><button>Sign out</button></form>
{% if not screen %}<form method="post"
action="/sign-out-everywhere"><button>Sign out everywhere</button></form>
{% endif %}</div>
{% endif %}
{% if session and not screen %}<details class="fold"><summary>Change your password</summary>
<form method="post" action="/password" class="form">
{{ parts.field("now", "Password now", "password", 200, "current-password") }}
{{ parts.field("new", "New password, 12 characters or more", "password", 200, "new-password") }}
{{ parts.field("again", "The new one again", "password", 200, "new-password") }}
<button>Change it</button></form></details>{% endif %}
{% if administers %}
{% if session %}
<h2>Screens</h2>
{% if screens %}<div class="table"><table><caption>Paired screens</caption>
<thead><tr><th>screen</th><th>paired</th><th>action</th></tr></thead>
{% for id, name, since in screens %}<tr><td>{{ name }}</td><td>{{ since }}</td>
<td><form method="post" action="/screens/revoke"><input type="hidden" name="screen" value="{{ id }}">
<button>Revoke {{ name }}</button></form></td></tr>{% endfor %}
</table></div>{% else %}<p class="soft">No screen is paired.</p>{% endif %}
<form method="post" action="/screens" class="form">
{{ parts.field("screen", "Name of the screen to pair", "text", 60, "off") }}
<button>Show a code</button></form>
<div class="table"><table><caption>Users</caption><thead><tr><th>name</th><th>may</th></tr></thead>
{% for name, rights in users %}<tr><td>{{ name }}</td><td>{{ rights }}</td></tr>{% endfor %}</table></div>
<p class="soft">Users are added, changed and removed on the machine that serves the board:
<code>lineview user --help</code></p>
{% endif %}
<h2>What was written</h2>
<div class="table"><table><caption>Newest first{% if zone %}, {{ zone }}{% endif %}</caption>
<thead><tr>{% for head in heads %}<th>{{ head }}</th>{% endfor %}</tr></thead>
{% for row in written %}<tr>
{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>{% endfor %}</table></div>
<p><a href="/audit.csv">All of it as CSV</a></p>
{% endif %}
<p><a href="/">Back to the board</a></p>"""

LARGE = """
<h1 class="sentence">Upload an export of up to 400 MB.</h1>
{% if outcome %}
<div role="status">
{% if outcome.proposal %}<p>No layout fits {{ outcome.file_name }}. Upload the first part of it on the
<a href="/intake">intake page</a>, accept a layout there, then upload the whole file here.</p>
{% elif outcome.faults %}<p>{{ outcome.file_name }} was not taken in; nothing of it was kept.</p>
{{ parts.faults(outcome.faults) }}
{% else %}<p>{{ outcome.receipt }}</p>{% endif %}
</div>
{% endif %}
<form method="post" enctype="multipart/form-data">
<p><label>File <input type="file" name="export" required></label></p>
<p><button>Take it in</button></p></form>
<p><a href="/intake">Back to intake</a></p>"""

#: By a page's name: its title and what it holds.
PAGES = {
    "sign-in": ("Sign in", SIGN_IN),
    "pair": ("Pair a screen", PAIR),
    "account": ("Account", ACCOUNT),
    "large": ("Upload a larger file", LARGE),
}
_PAGES = Environment(
    loader=DictLoader(
        {"frame": FRAME, "parts": PARTS}
        | {name: f"{START}{content}{{% endblock %}}" for name, (_, content) in PAGES.items()}
    ),
    autoescape=True,
)


def plain_page(name: str, **told: Any) -> str:
    """A page of PAGES with its values, each shown as text."""
    return _PAGES.get_template(name).render(title=PAGES[name][0], **told)
