"""A rule from what somebody typed: a kind and ``setting=value`` words, on a line or in a form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from calib_model.core.numbers import short
from calib_model.core.rule import Rule
from calib_model.core.rule_plain import rule_from_plain
from calib_model.core.rule_settings import Of, Setting
from calib_model.errors import ModelError
from calib_model.rules.kinds import Kind, kind, setting_words

_YES, _NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0")


def rule_said(kind_name: str, words: Iterable[str]) -> Rule:
    """Make a rule from a kind and words such as ``axis=pedal`` or ``scope=pedal:20..60``.

    Parameters
    ----------
    kind_name : str
    words : iterable of str
        A scope is ``axis:low..high``, with either end left out; several are parted by commas.
        A point is its axis values, parted by commas.

    Raises
    ------
    ModelError
        Naming the word, and the nearest kind or setting or what can stand there.
    """
    return rule_from_texts(kind(kind_name), _texts(words))


def rule_with(rule: Rule, words: Iterable[str]) -> Rule:
    """Return a rule with other settings.

    Parameters
    ----------
    rule : Rule
    words : iterable of str
        As in `rule_said`; ``setting=`` takes a setting back to its default.

    Raises
    ------
    ModelError
        See `rule_said`.
    """
    of = kind(rule.kind)
    plain = rule.to_plain()
    for name, text in _texts(words).items():
        setting = of.setting(name)
        if text:
            plain[name] = _value(setting, text)
        else:
            plain.pop(name, None)
    return rule_from_plain(plain)


def _texts(words: Iterable[str]) -> dict[str, str]:
    texts: dict[str, str] = {}
    for word in words:
        name, sign, text = word.partition("=")
        if not sign:
            raise ModelError(
                f"{word[:60]!r} is no setting.", "Write it as setting=value, such as axis=pedal."
            )
        texts[name.strip()] = text.strip()
    return texts


def rule_from_texts(of: Kind, texts: Mapping[str, str]) -> Rule:
    """Make a rule from the texts of a form's fields; empty ones are left at their default.

    Parameters
    ----------
    of : Kind
    texts : mapping of setting to str

    Raises
    ------
    ModelError
        If a text cannot stand there; it names the setting.
    """
    plain: dict[str, Any] = {"kind": of.name}
    for name, text in texts.items():
        setting = of.setting(name)
        if text or setting.of is Of.TEXT:
            plain[setting.name] = _value(setting, text)
    return rule_from_plain(plain)


def _value(setting: Setting, text: str) -> Any:
    match setting.of:
        case Of.NUMBER:
            return _number(setting, text)
        case Of.SWITCH:
            if text.lower() not in (*_YES, *_NO):
                raise _refused(setting, text, "Write yes or no.")
            return text.lower() in _YES
        case Of.CHOICE:
            if text not in setting.choices:
                raise _refused(setting, text, f"Use one of {', '.join(setting.choices)}.")
            return text
        case Of.POINT | Of.NUMBERS:
            return [_number(setting, part) for part in text.split(",")]
        case Of.SCOPE:
            return [_part(setting, part) for part in text.split(",")]
        case Of.POINTS:
            raise _refused(setting, text, "Lock cells in place of that.")
    return text


def _number(setting: Setting, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise _refused(
            setting, text, f"Write a number with a decimal point. {setting_words(setting)}"
        ) from None
    if not setting.low <= value <= setting.high:  # not a number is in no range either
        bounds = f"from {short(setting.low)}" if setting.high == float("inf") else (
            f"{short(setting.low)} to {short(setting.high)}")  # fmt: skip
        raise _refused(setting, text, f"It goes {bounds}.")
    return value


def _part(setting: Setting, text: str) -> dict[str, Any]:
    axis, sign, span = text.partition(":")
    low, dots, high = span.partition("..")
    if not sign or not axis.strip():
        raise _refused(setting, text, "Write axis:low..high, such as vehicle_speed:0..20.")
    part: dict[str, Any] = {"axis": axis.strip()}
    if low.strip():
        part["low"] = _number(setting, low)
    if not dots and low.strip():  # one value
        part["high"] = part["low"]
    elif high.strip():
        part["high"] = _number(setting, high)
    return part


def _refused(setting: Setting, text: str, remedy: str) -> ModelError:
    return ModelError(f"{setting.name} cannot be {text[:60]!r}.", remedy)
