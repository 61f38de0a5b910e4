"""The modules of the page as one script: every file asked for is one more turn between browser and program.

The modules stay as they are written; each becomes a function that returns what it exports. They keep to one
form: `import { names } from "./file.js";` and `export` before a `const`, `function` or `class`.
"""

from __future__ import annotations

import re

IMPORT = re.compile(r'^import \{([^}]*)\} from "\./([\w-]+)\.js";\n', re.MULTILINE)
EXPORT = re.compile(r"^export ((?:async )?(?:const|function|class) ([\w$]+))", re.MULTILINE)


def one_script(modules: dict[str, str], first: str, beside: str) -> str:
    """All that a module needs, in one module.

    Parameters
    ----------
    modules : dict of str to str
        Text by name, without ".js".
    first : str
        The module that is run.
    beside : str
        A module that stays a file of its own.

    Returns
    -------
    str
    """
    found: dict[str, str] = {}
    outer: set[str] = set()

    def add(name: str) -> None:
        if name in found or name == beside:
            return
        text = modules[name]
        for names, other in IMPORT.findall(text):
            add(other)
            if other == beside:
                outer.update(one.strip() for one in names.split(",") if one.strip())
        found[name] = _as_function(name, text, beside)

    add(first)
    head = f'import {{ {", ".join(sorted(outer))} }} from "./{beside}.js";\n' if outer else ""
    return head + "".join(found.values())


def _as_function(name: str, text: str, beside: str) -> str:
    exports = ", ".join(one for _, one in EXPORT.findall(text))

    def taken(match: re.Match[str]) -> str:
        names, other = match.groups()
        return "" if other == beside else f"const {{{names}}} = from_{other};\n"

    body = EXPORT.sub(r"\1", IMPORT.sub(taken, text))
    return f"// {name}.js\nconst from_{name} = (() => {{\n{body}\nreturn {{ {exports} }};\n}})();\n"
