"""The modules of the replay page's script, put end to end."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import oralquiz.replay
from oralquiz.replay.page_script import join_modules, page_script

MODULES = Path(oralquiz.replay.__file__).parent / "assets" / "page"


def of(**modules: str) -> str:
    return join_modules(lambda name: modules[name])


def test_a_module_follows_what_it_imports_and_comes_once() -> None:
    script = of(
        main='import { b } from "./left.js";\nimport { c } from "./right.js";\nb(c);\n',
        left='import {\n  a,\n} from "./base.js";\nexport function b(x) { return a + x; }\n',
        right='import { a } from "./base.js";\nexport const c = a;\n',
        base="/**\n * @type {number}\n */\nexport const a = 1; // one\n",
    )
    assert script.split("\n") == [
        "const a = 1; // one",
        "",
        "function b(x) { return a + x; }",
        "",
        "const c = a;",
        "",
        "b(c);",
        "",
    ]


@pytest.mark.parametrize(
    ("main", "other", "complaint"),
    [
        ('import "./other.js";\nconst a = 1;\n', "function a() {}\n", "more than one module .* a"),
        ('import "./other.js";\n', 'import "./main.js";\n', "main > other > main: .* circle"),
        ('import { a as b } from "./other.js";\n', "", "main.js cannot .*: import { a as b }"),
        ('import a from "./other.js";\n', "", "main.js cannot .*: import a"),
        ('import { a } from "https://x/y.js";\n', "", "main.js cannot .*: import { a }"),
        ("export default 1;\n", "", "main.js cannot .*: export default"),
        ("export { a };\n", "", "main.js cannot .*: export { a }"),
    ],
)
def test_what_cannot_share_a_scope_is_refused(main: str, other: str, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        of(main=main, other=other)


def test_every_module_is_in_the_page_and_nothing_can_end_its_element() -> None:
    script = page_script()
    for path in MODULES.glob("*.js"):
        for name in re.findall(r"^export function (\w+)", path.read_text("utf-8"), re.MULTILINE):
            assert f"function {name}(" in script, path.name
    assert len(list(MODULES.glob("*.js"))) > 5
    assert "import " not in script.replace("import each other", "")
    assert "</script" not in script
    assert "<!--" not in script
