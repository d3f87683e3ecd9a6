"""How do templates speak another language: blocks of the catalogue, and texts put into it.

``{% trans %}`` blocks are looked up in the catalogue; every value that a template writes is put
into the language of the environment. There is one environment for each language, and the English
one does none of this work.

What is the same on every page is made once: a block without values becomes a part of the template,
and a wording is looked up the first time.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, nodes
from jinja2.compiler import CodeGenerator, Frame
from jinja2.ext import InternationalizationExtension
from markupsafe import Markup, escape

from mustwright.languages import Language
from mustwright.texts import Text, join, said, uncapital

# What these filters take is put into the language before they change its letters.
_OF_LETTERS = ("upper", "title", "trim", "replace", "truncate", "striptags", "wordwrap", "first")
_KEEP_CASE = ("lower", "capitalize", "in_sentence")  # which an English text may do, others not


_ESCAPED = re.compile("[&<>\"']")


def written(value: Any) -> str:
    """A value as a page writes it: escaped, unless it is marked safe or holds nothing to escape.

    What needs no escaping is not marked as safe either, which most texts of a page do not need.
    """
    kind = value.__class__
    if kind is Markup or ((kind is str or kind is Text) and _ESCAPED.search(value) is None):
        return str.__str__(value)
    return escape(value)


class _Writing(CodeGenerator):
    """What stands between the fixed parts of a template is written by `written`."""

    def _output_child_pre(self, node: nodes.Expr, frame: Frame, finalize: Any) -> None:
        if frame.eval_ctx.volatile or not frame.eval_ctx.autoescape:
            super()._output_child_pre(node, frame, finalize)
            return
        self.write("environment.written(")
        if finalize.src is not None:
            self.write(finalize.src)


class _Speaking(_Writing):
    """Parts that are put together by ``~`` are put into the language one by one."""

    def visit_Concat(self, node: nodes.Concat, frame: Frame) -> None:  # noqa: N802
        """Write code for ``a ~ b``."""
        together = "markup_join" if frame.eval_ctx.autoescape else "str_join"
        self.write(f"{together}((")
        for part in node.nodes:
            self.write("environment.finalize(")
            self.visit(part, frame)
            self.write("), ")
        self.write("))")


class _FixedWordings(InternationalizationExtension):
    """A ``{% trans %}`` block without values is a fixed part of the template."""

    def _make_node(
        self,
        singular: str,
        plural: str | None,
        context: str | None,
        variables: dict[str, nodes.Expr],
        plural_expr: nodes.Expr | None,
        *told: bool,
    ) -> nodes.Output:
        if plural_expr is None and context is None and not variables:
            gettext: Any = self.environment.globals["gettext"]
            said = gettext(singular)
            return nodes.Output([nodes.TemplateData(str(said))])
        return super()._make_node(singular, plural, context, variables, plural_expr, *told)


class WritingEnvironment(Environment):
    """An environment whose templates write English."""

    code_generator_class = _Writing
    written = staticmethod(written)


class SpeakingEnvironment(WritingEnvironment):
    """An environment whose templates speak another language than English."""

    code_generator_class = _Speaking


def made_environment(language: Language | None) -> Environment:
    """The templates of the pages, in a language; None for English.

    Everything is escaped unless marked safe, and a missing value is an error.
    """
    kind = WritingEnvironment if language is None else SpeakingEnvironment
    made = kind(
        loader=PackageLoader("mustwright.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,  # else each template's file is looked at for each page
        extensions=[_FixedWordings],
        finalize=None if language is None else lambda value: _text_put(value, language),
    )
    made.policies["ext.i18n.trimmed"] = True
    made.newstyle_gettext = True  # type: ignore[attr-defined]
    made.filters["join"] = _join
    made.globals["gettext"] = made.globals["_"] = _wordings(language)
    made.globals["ngettext"] = lambda one, many, n, /, **values: _filled(
        (one if n == 1 else many) if language is None else language.wording_of(one, many, n, ""),
        values,
        language,
    )
    return made


def speaking_filters(made: Environment, language: Language) -> None:
    """Let the filters that change letters work on what is said in the language."""
    for name in _OF_LETTERS:
        made.filters[name] = _on_what_is_said(made.filters[name], language)
    for name in _KEEP_CASE:
        made.filters[name] = _keeping_case(made.filters[name], language)
    made.filters["format"] = lambda form, *values: _printed(form, values, language)


def _text_put(value: Any, language: Language) -> Any:
    return value.put(language) if isinstance(value, Text) else value


def _putter(language: Language) -> Callable[[Any], Any]:
    def put(value: Any) -> Any:
        if isinstance(value, Text):
            return value.put(language)
        if isinstance(value, float):
            return language.formatted(value, "")
        return value

    return put


def _wordings(language: Language | None) -> Callable[..., Markup]:
    """Says a wording with its values; one without any is made once."""

    @lru_cache(maxsize=4096)
    def found(wording: str) -> Markup:
        return Markup(wording if language is None else language.wording(wording, ""))

    @lru_cache(maxsize=4096)
    def fixed(wording: str) -> Markup:
        return _filled(found(wording), {}, language)

    def say(wording: str, /, **values: Any) -> Markup:
        return _filled(found(wording), values, language) if values else fixed(wording)

    return say


def _filled(wording: str, values: dict[str, Any], language: Language | None) -> Markup:
    put = (lambda value: value) if language is None else _putter(language)
    return Markup(wording) % {name: put(value) for name, value in values.items()}  # type: ignore[no-untyped-call]


def _on_what_is_said(function: Callable[..., Any], language: Language) -> Any:
    def changed(*given: Any, **named: Any) -> Any:
        return function(
            *(said(one, language) if isinstance(one, Text) else one for one in given), **named
        )

    return _as_jinja_calls(changed, function)


def _keeping_case(function: Callable[..., Any], language: Language) -> Any:
    def changed(value: Any, *given: Any) -> Any:
        if isinstance(value, Text):
            return said(uncapital(value), language)
        return function(value, *given)

    return _as_jinja_calls(changed, function)


_DIRECTIVE = re.compile(r"%(?!%)[-+ 0#]*[\d*]*(?:\.\d+)?[a-z]|%%")


def _printed(form: str, values: tuple[Any, ...], language: Language) -> str:
    """The filter ``format``: as ``%`` does, each value as the language writes it."""
    left = iter(values)

    def directive(found: re.Match[str]) -> str:
        if found[0] == "%%":
            return "%"
        value = next(left)
        if found[0][-1] == "s":
            return str(found[0] % (said(value, language) if isinstance(value, str) else value))
        return language.formatted(value, found[0][1:].replace("-", "<"))

    return _DIRECTIVE.sub(directive, said(form, language))


def _as_jinja_calls(changed: Callable[..., Any], function: Callable[..., Any]) -> Any:
    """Mark a function as Jinja marks those that want its context, environment or escaping."""
    if hasattr(function, "jinja_pass_arg"):
        vars(changed)["jinja_pass_arg"] = function.jinja_pass_arg
    return changed


def _join(values: Any, separator: str = "", attribute: str | None = None) -> Any:
    """The filter ``join``, which keeps what is marked safe and what can be put into a language."""
    parts = [getattr(one, attribute) if attribute else one for one in values]
    if any(hasattr(one, "__html__") for one in parts):
        return Markup(separator).join(parts)
    return join(separator, [one if isinstance(one, str) else str(one) for one in parts])
