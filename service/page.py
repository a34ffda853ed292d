"""The page of the API: one HTML document made from the OpenAPI document, with nothing to fetch."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Any, Final, TypeAlias

_STYLE: Final = """
:root { --ink: #1d2427; --soft: #5d6a70; --line: #d5dcdf; --ground: #fbfaf6; --sheet: #fff;
  --mark: #b3261e; --get: #2c6e49; --post: #9a5b00; --put: #3b5b92; --delete: #9a1c1c; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6e3da; --soft: #98a3a8; --line: #3a4247;
  --ground: #15191b; --sheet: #1c2225; --mark: #ef8d7f; --get: #6fc497; --post: #e0a851;
  --put: #8fb0e8; --delete: #ef8d7f; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--ground); color: var(--ink);
  font: 15px/1.5 Charter, "Bitstream Charter", "Sitka Text", Cambria, serif;
  display: grid; grid-template-columns: 17rem minmax(0, 1fr); }
nav { position: sticky; top: 0; height: 100vh; overflow: auto; padding: 1.5rem 1rem;
  border-right: 1px solid var(--line); font-size: 13px; }
nav h2 { margin: 1.2rem 0 .2rem; font-size: 12px; letter-spacing: .08em; color: var(--soft);
  text-transform: uppercase; }
nav a { display: block; padding: .1rem 0; color: inherit; text-decoration: none; }
nav a:hover, nav a:focus { text-decoration: underline; }
main { max-width: 60rem; padding: 1.5rem 2rem 6rem; }
h1 { margin: 0; font-size: 28px; }
article { margin: 2rem 0; padding: 1rem 1.25rem; background: var(--sheet);
  border: 1px solid var(--line); border-left: 4px solid var(--line); }
article.get { border-left-color: var(--get); } article.post { border-left-color: var(--post); }
article.put { border-left-color: var(--put); } article.delete { border-left-color: var(--delete); }
article h3 { margin: 0 0 .3rem; font-size: 18px; }
code, pre, textarea, input { font: 12.5px/1.45 ui-monospace, "DejaVu Sans Mono", Menlo, monospace; }
pre { overflow: auto; max-height: 30rem; padding: .75rem; background: var(--ground);
  border: 1px solid var(--line); }
table { width: 100%; border-collapse: collapse; font-size: 13.5px; }
th, td { padding: .25rem .6rem .25rem 0; border-bottom: 1px solid var(--line);
  text-align: left; vertical-align: top; }
th { color: var(--soft); font-weight: normal; }
summary { cursor: pointer; color: var(--soft); margin: .6rem 0; }
.method { font-weight: bold; } .required { color: var(--mark); }
textarea { width: 100%; height: 14rem; } input { width: 100%; }
textarea, input { background: var(--ground); color: inherit; border: 1px solid var(--line);
  padding: .4rem; }
button { margin: .5rem 0; padding: .3rem 1rem; font: inherit; }
@media (max-width: 50rem) { body { display: block; } main { padding: 1rem; }
  nav { position: static; height: auto; border-right: 0; }
  article code, td, th { overflow-wrap: anywhere; } }
"""

_SCRIPT: Final = """
document.addEventListener("change", (event) => {
  const form = event.target.form;
  if (form && event.target === form.example) { form.body.value = form.example.value; }
});
document.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target, shown = form.querySelector("output");
  const body = form.body ? form.body.value : undefined;
  const headers = body === undefined ? {} : { "Content-Type": form.dataset.type };
  shown.textContent = "...";
  try {
    const answer = await fetch(form.target_path.value,
      { method: form.dataset.method, body, headers });
    let text = await answer.text();
    try { text = JSON.stringify(JSON.parse(text), null, 2); } catch { /* shown as it came */ }
    shown.innerHTML = "<pre></pre>";
    shown.firstChild.textContent = answer.status + " " + answer.statusText + "\\n" + text;
  } catch (failure) { shown.textContent = String(failure); }
});
"""


Row: TypeAlias = tuple[str, bool, str, str]
"""A row of a table: name, whether it is required, what it is as HTML, and a description."""


def page(document: Mapping[str, Any]) -> str:
    """The whole page of an OpenAPI document."""
    info = document["info"]
    return (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(info['title'])}: the API</title><style>{_STYLE}</style></head><body>"
        f"<nav>{''.join(_index(document))}</nav>"
        f"<main><h1>{escape(info['title'])}</h1>"
        f"<p>Version {escape(info['version'])}. The same as data: "
        "<a href='/openapi.json'>openapi.json</a></p>"
        f"{_prose(info['description'])}{''.join(_sections(document))}"
        f"<h2>Shapes</h2>{''.join(_shapes(document))}</main>"
        f"<script>{_SCRIPT}</script></body></html>"
    )


def _operations(document: Mapping[str, Any], tag: str) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            if tag in operation.get("tags", ()):
                yield method, path, operation


def _index(document: Mapping[str, Any]) -> Iterator[str]:
    for tag in document["tags"]:
        yield f"<h2>{escape(tag['name'])}</h2>"
        for _, _, operation in _operations(document, tag["name"]):
            place, name = escape(operation["operationId"]), escape(operation["summary"])
            yield f"<a href='#{place}'>{name}</a>"


def _sections(document: Mapping[str, Any]) -> Iterator[str]:
    for tag in document["tags"]:
        yield f"<h2>{escape(tag['name'].capitalize())}</h2>{_prose(tag['description'])}"
        for method, path, operation in _operations(document, tag["name"]):
            yield from _article(document, method, path, operation)


def _article(
    document: Mapping[str, Any], method: str, path: str, operation: dict[str, Any]
) -> Iterator[str]:
    yield (
        f"<article class='{escape(method)}' id='{escape(operation['operationId'])}'>"
        f"<h3>{escape(operation['summary'])}</h3>"
        f"<p><code><span class='method'>{escape(method.upper())}</span> {escape(path)}</code></p>"
        f"{_prose(operation.get('description', ''))}"
    )
    if parameters := operation.get("parameters"):
        yield _table(
            "Parameters",
            (
                (p["name"], bool(p.get("required")), escape(p["in"]), p.get("description", ""))
                for p in parameters
            ),
        )
    content = operation.get("requestBody", {}).get("content", {})
    for media_type, body in content.items():
        yield _fields(f"Body, {media_type}", document, body.get("schema", {}))
    for status, response in operation["responses"].items():
        if status.startswith("2"):
            for media_type, body in response.get("content", {}).items():
                yield _fields(f"Answer {status}, {media_type}", document, body.get("schema", {}))
                for name, example in _examples_of(document, body):
                    of_what = f": {name}" if name else ""
                    yield _example(f"Example of answer {status}{of_what}", example)
    yield _table(
        "Answers",
        (
            (status, False, escape(" ".join(answer.get("content", ()))), answer["description"])
            for status, answer in operation["responses"].items()
        ),
    )
    yield f"{_form(document, method, path, content)}</article>"


def _shapes(document: Mapping[str, Any]) -> Iterator[str]:
    """Every object that operations take or give, which their fields lead to."""
    for name, schema in sorted(document["components"]["schemas"].items()):
        members = schema.get("anyOf", [schema])
        described = next((m["description"] for m in members if "properties" in m), "")
        yield f"<article id='{_place(name)}'><h3>{escape(name)}</h3>{_prose(described)}"
        yield f"{''.join(map(_rows, members))}</article>"


def _table(title: str, rows: Iterable[Row]) -> str:
    return (
        f"<details><summary>{escape(title)}</summary>"
        f"<table>{''.join(map(_row, rows))}</table></details>"
    )


def _row(row: Row) -> str:
    name, required, kind, text = row
    mark = " <span class=required>required</span>" if required else ""
    cells = (f"<code>{escape(name)}</code>{mark}", kind, _inline(text))
    return f"<tr>{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>"


def _rows(schema: Mapping[str, Any]) -> str:
    """The fields of one schema; of a schema without fields, what it is."""
    if "properties" in schema:
        return f"<table>{''.join(map(_row, _field_rows(schema)))}</table>"
    return f"<p>Or {_kind(schema)}: {_inline(schema.get('description', ''))}</p>"


def _field_rows(schema: Mapping[str, Any]) -> Iterator[Row]:
    required = schema.get("required", ())
    for name, field in schema.get("properties", {}).items():
        yield name, name in required, _kind(field), field.get("description", "")


def _fields(title: str, document: Mapping[str, Any], schema: Mapping[str, Any]) -> str:
    if rows := list(_field_rows(_resolved(document, schema))):
        return _table(title, rows)
    told = _inline(schema.get("description", ""))
    return f"<p>{escape(title)}: {_kind(_resolved(document, schema))}. {told}</p>"


def _resolved(document: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    while "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    return schema


def _kind(field: Mapping[str, Any]) -> str:
    """The type of a field, as HTML that leads to the shapes it names."""
    if "$ref" in field:
        name = field["$ref"].rpartition("/")[2]
        return f"<a href='#{_place(name)}'>{escape(name)}</a>"
    if "enum" in field:
        return escape(" | ".join(map(str, field["enum"])))
    if members := field.get("anyOf") or field.get("oneOf"):
        return " or ".join(dict.fromkeys(_kind(member) for member in members))
    if field.get("type") == "array":
        return f"list of {_kind(field.get('items', {}))}"
    return escape(str(field.get("const", field.get("type", "any"))))


def _place(shape: str) -> str:
    return f"shape-{escape(shape)}"


def _examples_of(document: Mapping[str, Any], body: Mapping[str, Any]) -> Sequence[tuple[str, Any]]:
    """The examples of a body, each with what it is an example of, where that is said."""
    if "example" in body:
        return [("", body["example"])]
    if named := body.get("examples"):
        return [(each.get("summary", name), each["value"]) for name, each in named.items()]
    shown = _resolved(document, body.get("schema", {})).get("examples")
    return [("", shown[0])] if shown else []


def _example(title: str, example: Any) -> str:
    return (
        f"<details><summary>{escape(title)}</summary><pre>{escape(_shown(example))}</pre></details>"
    )


def _form(document: Mapping[str, Any], method: str, path: str, content: Mapping[str, Any]) -> str:
    media_type = next(iter(content), "")
    body = ""
    if media_type:
        examples = _examples_of(document, content[media_type]) or [("", {})]
        if len(examples) > 1:
            options = "".join(
                f"<option value='{escape(_shown(value))}'>{escape(name)}</option>"
                for name, value in examples
            )
            body = f"<select name='example' aria-label='Example'>{options}</select>"
        text = escape(_shown(examples[0][1]))
        body += f"<textarea name='body' spellcheck='false' aria-label='Body'>{text}</textarea>"
    return (
        "<details><summary>Try it</summary>"
        f"<form data-method='{escape(method.upper())}' data-type='{escape(media_type)}'>"
        f"<input name='target_path' value='{escape(path)}' aria-label='Path'>{body}"
        "<button>Send</button><output></output></form></details>"
    )


def _shown(value: Any) -> str:
    """A body as it goes over the wire: text as it is, anything else as JSON."""
    return value if isinstance(value, str) else json.dumps(value, indent=2, ensure_ascii=False)


def _prose(text: str) -> str:
    return "".join(f"<p>{_inline(part)}</p>" for part in text.strip().split("\n\n") if part)


def _inline(text: str) -> str:
    return re.sub(r"`([^`]+)`", r"<code>\1</code>", escape(text))
