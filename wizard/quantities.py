"""Values with units: how they are read from text and how they are printed.

The one home for both, so a reading typed on a screen, a value in a file and a number in a sentence agree.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, PlainSerializer, WithJsonSchema

# unit -> factor to the base unit, by dimension. Units are compared without regard to case where no two differ.
_UNITS: dict[str, dict[str, float]] = {
    "volts": {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "µV": 1e-6, "kV": 1e3, "volt": 1.0, "volts": 1.0},
    "amps": {"A": 1.0, "mA": 1e-3, "kA": 1e3, "amp": 1.0, "amps": 1.0},
    "ohms": {"ohm": 1.0, "mohm": 1e-3, "uohm": 1e-6, "kohm": 1e3, "Ω": 1.0, "mΩ": 1e-3, "ohms": 1.0},
    "metres": {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "in": 0.0254, "ft": 0.3048},
    "minutes": {"min": 1.0, "minutes": 1.0, "h": 60.0, "s": 1.0 / 60.0},
}
_BASE = {"volts": "V", "amps": "A", "ohms": "ohm", "metres": "m", "minutes": "min", "celsius": "C"}
_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"^\s*({_NUMBER})\s*([A-Za-zµΩ°0-9]*)\s*$")
# Two values of several cranks: `0.5 0.7`, `0.5-0.7`, `0.5 to 0.7`, `0.5..0.7`, `500/700 mV`. A dash behind a space and
# right before a figure is a sign.
_END = r"([+-]?[\d.,]*\d[.,]?)\s*([A-Za-z]*?)"
_DASH = r"(?:\s*[-\u2013]\s+|(?<!\s)[-\u2013])"
_RANGE = re.compile(rf"^\s*{_END}(?:\s*(?:to|\.\.|/|;)\s*|{_DASH}|\s+){_END}\s*$")
_RANGE_FORM = "Two values are a range: write it as 0.9-1.3, 0.9..1.3 or 0.9 to 1.3"
_ANY_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
UNLIKE_ENDS = "the two ends of a range must be alike: the same sign, the same unit"
_AWG = re.compile(r"^\s*(\d{1,2}|[1-4]/0)\s*AWG\s*$", re.IGNORECASE)
_MM2 = re.compile(rf"^\s*({_NUMBER})\s*(?:mm2|mm²)\s*$", re.IGNORECASE)


def parse_number(text: str) -> float:
    """A number written with a decimal point or a decimal comma.

    Raises ValueError when the text is not one finite number.
    """
    if not re.fullmatch(_NUMBER, text.strip()):
        raise ValueError(f"{text.strip()[:40]!r} is not a number")
    value = float(text.strip().replace(",", "."))
    if not math.isfinite(value):
        raise ValueError(f"{text.strip()[:40]!r} is too large")
    return value


def parse_quantity(text: str, dimension: str, *, bare: float | None = None) -> float:
    """A value in the dimension's base unit (V, A, ohm, m, min).

    `bare` is the factor for a number without a unit; None refuses such a number. Raises ValueError with the units
    allowed.
    """
    allowed = ", ".join(unit for unit in _UNITS[dimension] if len(unit) <= 4)
    match = _QUANTITY.match(text)
    if not match:
        raise ValueError(f"{text.strip()[:40]!r} is not a value with a unit; use one of {allowed}")
    number, unit = parse_number(match[1]), match[2]
    if not unit:
        if bare is None:
            raise ValueError(f"{text.strip()[:40]!r} has no unit; use one of {allowed}")
        return number * bare
    units = _UNITS[dimension]
    if unit not in units:
        folded = {name.lower(): factor for name, factor in units.items()}
        if unit.lower() not in folded:
            raise ValueError(f"the unit {unit[:20]!r} does not fit here; use one of {allowed}")
        return number * folded[unit.lower()]
    return number * units[unit]


def range_ends(text: str) -> tuple[str, str] | None:
    """The two values of a range as they are written, each with its unit, which stands behind one or both of them.

    None where this is no range. A single value is to be read first: `9e-1` is one.
    """
    ends = _RANGE.match(text)
    return None if ends is None else (f"{ends[1]} {ends[2] or ends[4]}", f"{ends[3]} {ends[4] or ends[2]}")


def range_hint(text: str) -> str:
    """How a range is written, to stand behind what is wrong with a text of several numbers; else nothing."""
    return f". {_RANGE_FORM}" if len(_ANY_NUMBER.findall(text)) > 1 else ""


def middle(low: float, high: float) -> float:
    """The value that stands for a range."""
    return min(high, max(low, round((low + high) / 2, 4)))


def parse_range(text: str, dimension: str, *, bare: float | None = None) -> tuple[float, float] | None:
    """The least and the most of several cranks; None where the text is one value or none, see `parse_quantity`.

    Raises ValueError where it is a range whose ends don't go together, or have no unit that fits.
    """
    if _QUANTITY.match(text) or (ends := range_ends(text)) is None:
        return None
    low, high = sorted(parse_quantity(end, dimension, bare=bare) for end in ends)
    if low < 0 < high:
        raise ValueError(UNLIKE_ENDS)
    return low, high


def says_open(text: str) -> bool:
    """Whether this is what a meter shows across a break: `open`, or `o` for short."""
    return text.strip().lower() in ("o", "open")


def parse_celsius(text: str) -> float:
    """A temperature in degrees Celsius from `20 C`, `68 F` or `293 K`."""
    match = _QUANTITY.match(text)
    unit = match[2].lstrip("°").upper() if match else ""
    if not match or unit not in ("C", "F", "K"):
        raise ValueError(f"{text.strip()[:40]!r} is not a temperature; write it as 20 C or 68 F")
    number = parse_number(match[1])
    return {"C": number, "F": (number - 32.0) / 1.8, "K": number - 273.15}[unit]


def awg_area_mm2(gauge: int) -> float:
    """Cross-section of an AWG size; 1/0 is gauge 0, 4/0 is -3. ASTM B258: d = 0.005 in x 92^((36-n)/39)."""
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge) / 39.0)
    return math.pi / 4.0 * diameter_mm**2


@dataclass(frozen=True)
class Size:
    """A conductor's size as it is sold: its label and its copper area."""

    label: str
    area_mm2: float

    @classmethod
    def parse(cls, text: str) -> Size:
        """Read `4 AWG`, `2/0 AWG` or `25 mm2`. Raises ValueError."""
        if awg := _AWG.match(text):
            written = awg[1]
            gauge = 1 - int(written[0]) if written.endswith("/0") else int(written)
            size = cls(f"{written} AWG", awg_area_mm2(gauge))
        elif square := _MM2.match(text):
            area = parse_number(square[1])
            size = cls(f"{area:g} mm2", area)
        else:
            raise ValueError(f"{text.strip()[:40]!r} is not a size; write it as 4 AWG, 2/0 AWG or 25 mm2")
        if not 0.05 <= size.area_mm2 <= 1000:
            raise ValueError(f"{text.strip()[:40]!r} is not a cable size; 0.05 mm2 (30 AWG) to 1000 mm2 are read")
        return size

    def __str__(self) -> str:
        return self.label


def _reader(dimension: str, bare: float | None) -> BeforeValidator:
    def read(value: Any) -> Any:
        if isinstance(value, str):
            return parse_quantity(value, dimension, bare=bare)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError("write a number with its unit")
        if bare is None:
            raise ValueError(f"{value} has no unit; write it as {value} {_BASE[dimension]}")
        return float(value) * bare

    return BeforeValidator(read)


def _read_celsius(value: Any) -> Any:
    return parse_celsius(value) if isinstance(value, str) else value


def _read_size(value: Any) -> Any:
    if isinstance(value, Size):
        return value
    if not isinstance(value, str):
        raise ValueError(f"{value!r} has no unit; write it as 4 AWG or 25 mm2")
    return Size.parse(value)


def plain_text(text: str) -> str:
    """Text that is safe to print: no control characters, no terminal escapes, no direction marks."""
    for character in text:
        code = ord(character)
        if (code < 32 and character not in "\n\t") or 0x7F <= code <= 0x9F or code in _HIDDEN:
            raise ValueError(f"the character U+{code:04X} is not allowed in text; remove it")
    return text


# Direction overrides and isolates, zero-width marks, line and paragraph separators, byte order mark.
_HIDDEN = frozenset([*range(0x200B, 0x2010), *range(0x2028, 0x202F), *range(0x2066, 0x206A), 0xFEFF])


def printable(text: str) -> str:
    """The same text with whatever `plain_text` would refuse shown as an escape."""
    out: list[str] = []
    for character in text:
        try:
            out.append(plain_text(character))
        except ValueError:
            out.append(f"\\u{ord(character):04x}")
    return "".join(out)


def typed_text(text: str, most: int) -> str:
    """Text as it was typed, without blanks around it.

    Raises ValueError where it can't be printed or has more characters than `most`.
    """
    return _no_longer(plain_text(text).strip(), most)


def _no_longer(text: str, most: int) -> str:
    if len(text) > most:
        raise ValueError(f"{len(text)} characters are too many; {most} are allowed")
    return text


def _short(most: int) -> AfterValidator:
    return AfterValidator(partial(_no_longer, most=most))


def _is_id(text: str) -> str:
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,63}", text):
        raise ValueError(f"{printable(text)[:40]!r} is not an id; use a-z, 0-9 and - only")
    return text


Volts = Annotated[float, _reader("volts", 1.0)]
Amps = Annotated[float, _reader("amps", 1.0)]
Metres = Annotated[float, _reader("metres", 1.0)]
Milliohms = Annotated[
    float, BeforeValidator(lambda v: parse_quantity(v, "ohms", bare=1e-3) * 1e3 if isinstance(v, str) else v)
]
Minutes = Annotated[float, _reader("minutes", 1.0)]
Celsius = Annotated[float, BeforeValidator(_read_celsius)]
CableSize = Annotated[
    Size,
    BeforeValidator(_read_size),
    PlainSerializer(lambda size: size.label, return_type=str),
    WithJsonSchema({"type": "string"}),
]
# Characters that a text and a long text may have.
TEXT_MOST, LONG_TEXT_MOST = 300, 4000
Text = Annotated[str, AfterValidator(plain_text), _short(TEXT_MOST)]
LongText = Annotated[str, AfterValidator(plain_text), _short(LONG_TEXT_MOST)]
Id = Annotated[str, AfterValidator(_is_id)]


def capitalised(text: str) -> str:
    """The text with its first letter large, as at the start of a sentence."""
    return text[:1].upper() + text[1:]


def show_volts(volts: float) -> str:
    """Volts to the hundredth, which tells a charged battery from a flat one: `0.86 V`, `12.54 V`."""
    # Never -0.00.
    return f"{round(volts, 2) + 0.0:.2f} V"


def show_against(volts: float, limit_v: float) -> tuple[str, str]:
    """Volts and the limit they are judged by, with as many decimals as it takes to see which is more.

    `0.86 V` against `0.50 V`, `0.104 V` against `0.100 V`; never more than a tenth of a millivolt.
    """
    digits = next((n for n in (2, 3) if f"{volts:.{n}f}" != f"{limit_v:.{n}f}"), 4)
    digits = 2 if abs(volts - limit_v) < 5e-5 else digits
    return f"{round(volts, digits) + 0.0:.{digits}f} V", f"{limit_v:.{digits}f} V"


def show_band(low: float, high: float) -> str:
    """A band of volts: `0.31 to 0.40 V`."""
    if f"{low:.2f}" == f"{high:.2f}":
        return show_volts(low)
    shown = show_volts(max(low, 0.0) if low > -0.005 else low)
    return f"{shown.removesuffix(' V')} to {show_volts(high)}"


def show_amps(amps: float) -> str:
    """Amps to the nearest one: `165 A`."""
    return f"{amps:.0f} A"


def show_milliohms(milliohms: float) -> str:
    """Excess resistance: `2.1 mohm`, `35 mohm`, `open`."""
    if milliohms >= 1e5:
        return "open"
    if milliohms >= 1000:
        return f"{milliohms / 1000:.2g} ohm"
    return f"{milliohms:.1f} mohm" if milliohms < 10 else f"{milliohms:.0f} mohm"


def show_minutes(minutes: float) -> str:
    """Minutes of one test, in whole ones: `2 min`."""
    return f"{minutes:.0f} min" if minutes >= 0.5 else "under 1 min"


def show_length(metres: float, *, inch: bool = False) -> str:
    """A cable's length: `4.2 m`, or `165 in`."""
    return f"{metres / 0.0254:.0f} in" if inch else f"{metres:g} m"


def show_temperature(celsius: float, *, inch: bool = False) -> str:
    """A temperature: `15 C`, or `59 F` for those who measure in inches."""
    return f"{celsius * 1.8 + 32:.0f} F" if inch else f"{celsius:g} C"


def show_share(share: float | None) -> str:
    """A share as per cent; nothing where it is not known."""
    return "" if share is None else f"{100 * share:.1f} %"
