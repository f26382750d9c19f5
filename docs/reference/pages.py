"""Write the reference from the library itself: the installed parts, the hooks, and every public module.

This file lists no parts, hooks or modules by name, so that additions appear in the reference without a change here.
"""

import ast
import dataclasses
import importlib
import inspect
import math
import pkgutil
import re
import sys
from functools import cache
from pathlib import Path
from typing import get_args

import parts as pictures
from sphinx.addnodes import pending_xref
from sphinx.ext.napoleon import Config, NumpyDocstring

import lobework
from lobework.jobs.jobfile.tables import part_keys
from lobework.parts.holder import HOLDERS
from lobework.plugins import hookspecs, registry
from lobework.quantities.fields import hints_of, measures

DOCS = Path(__file__).parents[1]
MADE = DOCS / "reference" / "made"

SECTIONS = Config(napoleon_use_param=False, napoleon_use_rtype=False)
OPENINGS = {
    "cam": '[[pass.cam]]\nshape = "{}"',
    "follower": 'follower = {{ kind = "{}" }}',
    "chuck": '[[chuck]]\nkind = "{}"',
    "cutter": '[cutter]\nkind = "{}"',
    "piece": '[piece]\nform = "{}"',
    "holder": 'holder = {{ kind = "{}" }}',
}
"""The first lines of the table of a part in a job file, by kind."""

TITLES = {
    "cam": "Discs with a waved edge or face that move the headstock. A cam is drawn with a roller resting on its highest lobe.",
    "follower": "The parts that bear on a cam.",
    "chuck": "Devices between spindle and work. The picture of each is a ring that it cuts, or rings at several indexes.",
    "cutter": "Tools that draw a line or cut a groove.",
    "piece": "Forms of work.",
    "holder": "Holders of cutters: the setting ``holder`` of a cutter.",
    "backend": "Backends for carving.",
    "target": "Files that can be written for a job.",
    "check": "Checks of a job before wood is cut.",
}


def title(text, under="="):
    """Return a heading."""
    return f"{text}\n{under * max(len(text), 3)}\n\n"


def indented(text, by="   "):
    """Return indented text."""
    return "\n".join(f"{by}{line}".rstrip() for line in text.splitlines())


def directive(name, argument, *body, **options):
    """Return a directive with its options and contents."""
    given = "".join(f"   :{key.replace('_', '-')}: {value}\n" for key, value in options.items())
    return f".. {name}:: {argument}\n{given}\n" + "".join(f"{indented(each)}\n\n" for each in body)


def table(heads, rows, widths, kind="settings"):
    """Return a table whose cells may be empty."""
    lines = []
    for row in (heads, *rows):
        for place, cell in enumerate(row):
            lines.append(f"{'  -' if place else '* -'} {cell}".rstrip())
    return directive("list-table", "", "\n".join(lines), header_rows=1, widths=widths, **{"class": kind})


def code(text):
    """Return text as inline code."""
    return f"``{text}``" if text else ""


@cache
def shelf():
    """Return the installed items."""
    return registry.installed()


@cache
def every_sample():
    """Return the samples of every plugin."""
    return [each for record in shelf().loaded for each in shelf().samples(record.name)]


@cache
def samples():
    """Return the first sample of each item, by kind and name."""
    return {(each.kind, each.name): each.part for each in reversed(every_sample())}


def shown_default(field, mark):
    """Return the default of a field as in a job file; empty if the field is required."""
    if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
        return ""
    value = field.default if field.default_factory is dataclasses.MISSING else field.default_factory()
    if value is None:
        return "none"
    if dataclasses.is_dataclass(value) and hasattr(value, "kind"):
        return code(f'{{ kind = "{value.kind}" }}')
    if value == () or value == math.inf:
        return "none" if value == () else "unlimited"
    return code(mark.show(value) if mark else f'"{value}"' if isinstance(value, str) else str(value).lower())


def settings(part):
    """Return the table of a part's settings, with their keys in job files."""
    keys, marks = part_keys(part), measures(part)
    made = [each for each in dataclasses.fields(part) if each.init]
    rows = [
        (code(key), value.description.replace("'", '"'), shown_default(field, marks[field.name]), value.about)
        for field, (key, value) in zip(made, keys.items(), strict=True)
    ]
    if not rows:
        return "It has no settings.\n\n"
    return table(("setting", "may be", "default", "description"), rows, "16 34 16 34", kind="settings part")


def held_in(part):
    """Return the classes of the tables in a part's settings, and those of the tables nested in them."""
    found = {}
    for name, mark in measures(part).items():
        if mark is None:
            hint = hints_of(part)[name]
            inside = [hint, *get_args(hint), *(each for inner in get_args(hint) for each in get_args(inner))]
            for each in inside:
                if dataclasses.is_dataclass(each) and each not in HOLDERS:
                    found |= {each.__name__: each} | held_in(each)
    return found


def needs(kind, name):
    """Return the fittings that a chuck needs, over all its samples."""
    asked = [each for each in every_sample() if (each.kind, each.name) == (kind, name)]
    fittings = dict.fromkeys(fitting for each in asked for fitting in getattr(each.part, "needs", ()))
    return f"The lathe must have: {', '.join(fittings)}.\n\n" if fittings else ""


def sections(thing):
    """Return the sections of a docstring by their headings; the text before the first section has an empty heading."""
    opening, *rest = re.split(r"^(\w+)\n-{3,}\n", inspect.getdoc(thing) or "", flags=re.MULTILINE)
    return {"": opening, **dict(zip(rest[::2], rest[1::2], strict=True))}


def prose(thing):
    """Return the text of a docstring and its references, without parameters and examples."""
    found = sections(thing)
    words = re.sub(r"^>>>.*?(\n\n|\Z)", "", found[""], flags=re.MULTILINE | re.DOTALL)
    source = found.get("References", "")
    return f"{words.strip()}\n\n" + (f"Source: {source.strip()}\n\n" if source else "")


def figure(kind, name):
    """Return the picture of a part, as raw HTML."""
    drawn = pictures.picture(kind, name, samples().get((kind, name)))
    anchor = re.sub(r"\W+", "-", f"picture-{kind}-{name}")
    return directive("raw", "html", f'<figure class="part" id="{anchor}">{drawn}</figure>')


def home(thing):
    """Return a reference to the documentation of a Python object, or its name if it is from a plugin."""
    full = f"{thing.__module__}.{thing.__qualname__}"
    return f":py:obj:`~{full}` in ``{thing.__module__}``" if thing.__module__.startswith("lobework.") else code(full)


def part_section(kind, name, part):
    """Return the section on a part."""
    return (
        f".. _part-{kind}-{re.sub(r'[^a-z0-9]+', '-', name.lower())}:\n\n"
        + title(name, "-")
        + directive("py:currentmodule", part.__module__)
        + prose(part)
        + (figure(kind, name) if kind in ("cam", "chuck") else "")
        + directive("code-block", "toml", OPENINGS[kind].format(name))
        + settings(part)
        + needs(kind, name)
        + f"In Python: {home(part)}.\n\n"
    )


def inner_section(name, part):
    """Return the section on a table that is nested in another."""
    return (
        title(name, "-")
        + directive("py:currentmodule", part.__module__)
        + prose(part)
        + settings(part)
        + f"In Python: {home(part)}.\n\n"
    )


def kind_page(kind, known):
    """Return the page of one kind of part, with the tables nested in its settings."""
    inner = {name: value for part in known.values() for name, value in held_in(part).items()}
    sections = [part_section(kind, name, part) for name, part in known.items()]
    sections += [inner_section(f"{name} (a nested table)", part) for name, part in inner.items()]
    return title(f"{kind.capitalize()}s") + f"{TITLES[kind]}\n\n" + "".join(sections)


def plain_page(kind, rows, heads, widths):
    """Return the page of items without settings."""
    return title(f"{kind.capitalize()}s") + f"{TITLES[kind]}\n\n" + table(heads, rows, widths)


def target_page():
    """Return the page of the targets."""
    rows = [
        (code(name), code(each.file), each.shows, each.description, code(f"pip install '{each.needs[1]}'" if each.needs else ""))
        for name, each in shelf().targets().items()
    ]
    return plain_page("target", rows, ("name", "file", "shows", "purpose", "needs"), "12 18 12 36 22")


def backend_page():
    """Return the page of the carving backends."""
    rows = [(code(name), each.description, ", ".join(sorted(each.can))) for name, each in shelf().backends().items()]
    return plain_page("backend", rows, ("name", "purpose", "can carve"), "16 44 40")


def check_page():
    """Return the page of the checks."""
    rows = [
        (code(each.__name__), (inspect.getdoc(each) or "").partition("\n\n")[0].replace("\n", " ")) for each in shelf().checks()
    ]
    return plain_page("check", rows, ("name", "purpose"), "30 70")


def hooks():
    """Return the hooks in the order of their module."""
    return [hook for hook in vars(hookspecs).values() if hasattr(hook, "lobework_spec")]


def promised(hook):
    """Return the class in the annotation of a hook, which defines its items."""
    (inner,) = re.findall(r"list\[(?:type\[)?(\w+)", str(inspect.signature(hook).return_annotation))
    for line in inspect.getsource(hookspecs).splitlines():
        if found := re.fullmatch(r"\s*from (\S+) import (.*\b" + inner + r"\b.*)", line):
            return getattr(importlib.import_module(found[1]), inner)
    return getattr(hookspecs, inner)


def asks(promise):
    """Return each member that a protocol requires: its signature and its description."""
    if dataclasses.is_dataclass(promise):
        entries = re.findall(r"^(\S.*)\n((?:    .*\n?)+)", sections(promise)["Parameters"], re.MULTILINE)
        return [(code(entry), " ".join(message.split())) for entry, message in entries]
    rows = [(f"{name}: {text}", "The name of the item.") for name, text in inspect.get_annotations(promise).items()]
    for name, member in vars(promise).items():
        if isinstance(member, property):
            rows.append((f"{name}: {inspect.signature(member.fget).return_annotation}", inspect.getdoc(member)))
        elif inspect.isfunction(member) and (not name.startswith("_") or name == "__call__") and inspect.getdoc(member):
            rows.append((f"{name}{written(member)}", inspect.getdoc(member)))
    return [(code(signature), linked_within(promise, " ".join((message or "").split()))) for signature, message in rows]


def linked_within(promise, text):
    """Return text with links from the names of a protocol's members to their documentation."""
    own = "|".join(name for name in vars(promise) if not name.startswith("_")) or "(?!)"
    return re.sub(rf"(?<!`)`({own})`(?!`)", rf":py:obj:`~{promise.__module__}.{promise.__name__}.\1`", text)


def hook_page():
    """Return the page of the hooks: each under its exact signature, with the definition of its items."""
    body = title("Hooks") + (
        "A plugin is a module with ``lobework_contract = "
        f"{hookspecs.CONTRACT}`` and at least one of these functions, marked :py:obj:`lobework.plugins.hookspecs.hookimpl`. "
        "See :doc:`the author's guide </plugins>`.\n\n"
    )
    for hook in hooks():
        promise = promised(hook)
        body += title(hook.__name__, "-") + directive("py:currentmodule", "lobework.plugins.hookspecs")
        body += directive("autofunction", f"lobework.plugins.hookspecs.{hook.__name__}")
        body += directive("py:currentmodule", promise.__module__)
        body += f"Each is a {home(promise)}. "
        body += linked_within(promise, prose(promise))
        body += table(("member", "description"), asks(promise), "50 50")
    return body


@cache
def modules():
    """Return every module of the library by name."""
    names = ["lobework", *sorted(each.name for each in pkgutil.walk_packages(lobework.__path__, "lobework."))]
    return {name: importlib.import_module(name) for name in names}


@cache
def trees():
    """Return the syntax tree of each module."""
    return {name: ast.parse(Path(module.__file__).read_text(encoding="utf-8")) for name, module in modules().items()}


@cache
def constants():
    """Return the constants of each module: the source of the value, and the docstring after it."""
    found = {}
    for name, tree in trees().items():
        found[name] = {}
        for node, after in zip(tree.body, [*tree.body[1:], None], strict=True):
            if isinstance(node, ast.Assign | ast.AnnAssign) and node.value:
                (target,) = node.targets if isinstance(node, ast.Assign) else [node.target]
                has_docstring = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
                message = inspect.cleandoc(str(after.value.value)) if has_docstring else ""
                for each in target.elts if isinstance(target, ast.Tuple) else [target]:
                    found[name][ast.unparse(each)] = (ast.unparse(node.value), message)
    return found


@cache
def defined():
    """Return the names that each module defines itself."""
    made = (ast.ClassDef, ast.FunctionDef)
    return {
        name: {node.name for node in tree.body if isinstance(node, made)} | set(constants()[name])
        for name, tree in trees().items()
    }


def public(name, module):
    """Return the public names of a module: its own, and the imported ones with the module that defines each."""
    given = getattr(module, "__all__", ())
    borrowed = {}
    for each in given:
        if each not in defined()[name]:
            (borrowed[each],) = (
                other
                for other, known in defined().items()
                if each in known and getattr(modules()[other], each) is getattr(module, each)
            )
    return [each for each in given if each not in borrowed], borrowed


def module_page(name, module):
    """Return the page of a module."""
    own, borrowed = public(name, module)
    body = title(name) + directive("automodule", name, no_members="")
    if borrowed:
        rows = [(f":py:obj:`~{where}.{each}`", code(where)) for each, where in borrowed.items()]
        body += table(("name", "documented in"), rows, "40 60")
    for each in own:
        thing = getattr(module, each)
        if inspect.isclass(thing):
            fields = {"exclude_members": ", ".join(thing._fields)} if hasattr(thing, "_fields") else {}
            body += directive("autoclass", f"{name}.{each}", members="", **fields)
        elif inspect.isroutine(inspect.unwrap(thing)):
            body += directive("autofunction", f"{name}.{each}")
        else:
            value, message = constants()[name][each]
            body += directive("py:data", each, message, **({"value": value} if len(value) < 100 else {}))
    return body


def example_page():
    """Return the page of the example jobs, each in full."""
    body = title("Examples") + "Jobs to make and to change: ``lobework make FILE --into FOLDER``.\n\n"
    for path in sorted((DOCS / "examples").iterdir()):
        if path.suffix in (".toml", ".py"):
            body += title(path.name, "-")
            for shown in sorted((DOCS / "pictures").glob(f"{path.stem}.*")):
                body += directive("image", f"/pictures/{shown.name}", alt=f"What {path.name} makes")
            body += directive(
                "literalinclude", f"/examples/{path.name}", language={".toml": "toml", ".py": "python"}[path.suffix]
            )
    return body


def made():
    """Return every page by its name under reference/made."""
    known = {kind: shelf().kinds(kind) for kind in get_args(registry.PartKind)}
    known["holder"] = {each.kind: each for each in HOLDERS}
    pages = {f"parts/{kind}s": kind_page(kind, parts) for kind, parts in known.items()}
    pages |= {"parts/backends": backend_page(), "parts/targets": target_page(), "parts/checks": check_page()}
    pages |= {"hooks": hook_page(), "examples": example_page()}
    of_python = {name: module_page(name, module) for name, module in modules().items()}
    tree = directive("toctree", "", "\n".join(of_python), maxdepth=1, titlesonly="")
    pages["modules/index"] = title("Modules") + "Every public module and name.\n\n" + tree
    return pages | {f"modules/{name}": text for name, text in of_python.items()}


def write(app):
    """Write the pages that have changed, and remove those that are no longer made."""
    del app
    pages = {MADE / f"{name}.rst": text for name, text in made().items()}
    for path in MADE.rglob("*.rst"):
        if path not in pages:
            path.unlink()
    for path, text in pages.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


def linked(app, name, source):
    """Replace links to files beside these pages by links to the pages on them."""
    del app, name
    for beside, page in (("examples/", "examples"), ("reference/README.md", "hooks")):
        source[0] = source[0].replace(f"]({beside})", f"](reference/made/{page}.rst)")


@cache
def imported():
    """Return the origin of each imported name of each module, imports for the type checker included."""
    found = {}
    for name, tree in trees().items():
        found[name] = {
            each.name: node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for each in node.names
        }
    return found


@cache
def by_last_name():
    """Return the full name of every public name by its last part; names that occur in several modules are left out."""
    found = {}
    for name, module in modules().items():
        for each in public(name, module)[0]:
            found.setdefault(each, []).append(f"{name}.{each}")
    return {last: full for last, (full, *others) in found.items() if not others}


def full_name(target, module):
    """Return the documented full name of a name in a docstring or a signature of a module."""
    where, _, last = target.rpartition(".")
    if where in modules():
        borrowed = public(where, modules()[where])[1]
        return f"{borrowed[last]}.{last}" if last in borrowed else target
    if where:
        owner, _, rest = target.partition(".")
        return target if owner == "lobework" else f"{full_name(owner, module)}.{rest}"
    if last in defined().get(module, ()):
        return f"{module}.{last}"
    if str(imported().get(module, {}).get(target)).startswith("lobework"):
        return full_name(f"{imported()[module][target]}.{target}", "")
    return by_last_name().get(target, target)


def settings_of(part):
    """Return the names of the fields of a dataclass, which are documented together in one list."""
    return {each.name for each in dataclasses.fields(part)} if dataclasses.is_dataclass(part) else set()


def named(app, doctree):
    """Replace the name in each reference by its full name; mark a reference to a setting of the same class as plain text."""
    del app
    for node in doctree.findall(pending_xref):
        target, module = node.get("reftarget", ""), node.get("py:module")
        part = getattr(modules().get(module), node.get("py:class") or "", None)
        if node.get("refdomain") != "py":
            continue
        if target in settings_of(part):
            node["word"] = True
        elif part is None or not hasattr(part, target):
            node["reftarget"] = full_name(target, module)


def elsewhere(app, env, node, contnode):
    """Accept unresolved names as plain text: settings, foreign types, names of Python or numpy, and private names."""
    del app, env
    where, _, last = node["reftarget"].rpartition(".")
    kept = last in defined().get(where, ()) and last not in getattr(modules()[where], "__all__", ())
    others = where.partition(".")[0] in {*sys.stdlib_module_names, "numpy"}
    return contnode if node["reftype"] == "class" or node.get("word") or kept or others else None


def written(thing):
    """Return a signature as in the source."""
    signature = inspect.signature(thing)
    words = [
        each.replace(default=_Written(each.default)) if each.default is not each.empty else each
        for each in signature.parameters.values()
    ]
    text = re.sub(r"ForwardRef\(('[^']*')\)", r"\1", str(signature.replace(parameters=words)))
    return re.sub(r"(: |-> )'([^']*)'", r"\1\2", text)


def explained(app, what, name, thing, options, lines):
    """Format the sections of a docstring; that of a property is plain text."""
    if what not in ("attribute", "data", "property"):
        lines[:] = NumpyDocstring(lines, SECTIONS, app, what, name, thing, options).lines()


class _Written:
    """A default value whose repr is that of the source."""

    def __init__(self, value):
        self.value = value

    def __repr__(self):
        shown = repr(self.value)
        if dataclasses.is_dataclass(self.value) and not shown.endswith("()"):
            whole = all(getattr(self.value, each.name) == each.default for each in dataclasses.fields(self.value))
            return f"{type(self.value).__name__}()" if whole else shown
        return "..." if shown.startswith("<") else shown


def signed(app, what, name, thing, options, signature, returns):
    """Return each signature as in the source, with the names of types as in the source."""
    del app, name, options, returns
    if signature is None:
        return None
    if getattr(thing, "_is_protocol", False):
        return "", None
    text = written(thing)
    if what in ("method", "classmethod") or what == "class":
        text = re.sub(r"^\((self|cls)(, |(?=\)))", "(", text)
    arguments, arrow, answer = text.rpartition(" -> ")
    return (arguments, answer) if arrow and what != "class" else (arguments or text, None)
