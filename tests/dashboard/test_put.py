"""Pieces put together are one element, in their order; alone each is its own."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest


def _page() -> None:
    from dashboard.markup import Html, tag
    from dashboard.put import put, together

    def cut_short() -> None:
        with together():
            put("before")
            return

    put("alone")
    with together():
        put(tag("p", "one"))
        with together():
            put("two")
            put(Html("<b>three</b>"))
        put("four")
    with together():
        pass
    cut_short()
    try:
        with together():
            put("lost")
            raise LookupError
    except LookupError:
        put("after")


def test_pieces_of_a_block_are_one_element():
    app = AppTest.from_function(_page, default_timeout=20).run()
    assert not app.exception
    block = '<div class="wa-together">'
    assert [element.proto.body for element in app.get("html")] == [
        "alone",
        f"{block}<div><p>one</p></div><div>{block}<div>two</div><div><b>three</b></div></div>"
        "</div><div>four</div></div>",
        f"{block}<div>before</div></div>",
        "after",
    ]
