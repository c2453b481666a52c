"""Open a page by its address, and read what stands on it."""

from __future__ import annotations

from pathlib import Path

from streamlit.testing.v1 import AppTest

import dashboard

APP = Path(dashboard.__file__).with_name("app.py")


def page_at(page: str, **query: str) -> AppTest:
    """The page as a browser would open it."""
    app = AppTest.from_file(str(APP), default_timeout=30)
    for name, value in query.items():
        app.query_params[name] = value
    app.switch_page(f"pages/{page}.py").run()
    assert not app.exception
    return app


def words_of(app: AppTest) -> str:
    """All that the page's own markup says."""
    assert not app.exception, app.exception
    bodies = [element.proto.body for element in app.get("html")]
    return "\n".join(b for b in bodies if "<style>" not in b and "<script" not in b)


def keyed(app: AppTest, kind: str, ending: str):
    """The one widget of a kind whose key ends so; drafts put their name before it."""
    (found,) = [w for w in getattr(app, kind) if w.key and w.key.endswith(ending)]
    return found
