"""The plotting library starts with what the page draws, and stays whole where it is built in another way."""

from __future__ import annotations

import pytest

from vpp.report.plotting import plotting_library, quick_to_start

MODULE = 'var {name}=W((e,{to})=>{{"use strict";{to}.exports={says}}});'


def built(*kinds: str, last: str = "}));") -> str:
    """A library as small as can be, built as the real one is: wrapped, a module a kind, a list at its end."""
    modules = "".join(
        MODULE.format(name=f"{kind}_is", to="t", says=f'{{attributes:{{}},moduleType:"trace",name:"{kind}"}}')
        + MODULE.format(name=f"{kind}$", to="t", says=f"{kind}_is()")
        for kind in kinds
    )
    starts = ",".join(f"{kind}$()" for kind in kinds)
    return (
        "/* licence */(function(root, factory) { root.moduleName = factory(); "
        '} (typeof self !== "undefined" ? self : this, () => {'
        f"var Plotly=(()=>{{{modules}core.register([{starts}]);return core}})();return Plotly;{last}"
    )


def test_list_keeps_the_kinds_of_the_page() -> None:
    whole = built("pie", "bar", "mesh3d", "scatterpolar", "scatter")
    quick = quick_to_start(whole)
    assert ".register([bar$(),scatterpolar$()])" in quick
    assert ": this, (() => {" in quick
    assert quick.endswith("})));")
    # nothing else is touched
    there = quick.replace("bar$(),scatterpolar$()", "pie$(),bar$(),mesh3d$(),scatterpolar$(),scatter$()")
    assert there.replace("(() => {", "() => {").removesuffix("})));") + "}));" == whole


@pytest.mark.parametrize(
    "whole",
    [
        "window.Plotly = {};",
        built("pie", "bar", last="}))"),  # one of the page's kinds is not there
        built("bar", "bar", "scatterpolar", last="}))"),  # a name stands twice
        built("bar", "scatterpolar", last="}))").replace("register([", "start(["),
        built("bar", "scatterpolar", last="}))").replace("[bar$()", "[other()"),
        built("bar", "scatterpolar", last="}))") * 2,
    ],
)
def test_library_that_is_built_otherwise_stays_as_it_is(whole: str) -> None:
    assert quick_to_start(whole) == whole


def test_installed_library_is_built_as_known() -> None:
    offline = pytest.importorskip("plotly.offline", reason="plotly is not installed: extra report")
    whole = offline.get_plotlyjs()
    quick = plotting_library()
    assert quick == quick_to_start(whole)
    # forty kinds and more leave the list, two brackets come in
    assert 200 < len(whole) - len(quick) < 600
    assert quick.endswith("})));")
    assert quick.startswith(whole[:200])
