"""Amounts of every quantity: what is typed for them, and how a shop writes them."""

from collections.abc import Callable, Iterator
from fractions import Fraction
from random import Random

from qc_app.measure.mass import parse_mass
from qc_app.measure.moisture import parse_percent
from qc_app.plan.quantity import (
    Quantity,
    Units,
    format_amount,
    format_derived,
    format_difference,
    format_spread,
    parse_count,
)
from tests.twin.case import Case
from tests.twin.lengths import GRADUATIONS, INCH, SIXTY_FOURTH, SYSTEMS

PARSERS: dict[str, Callable[[str], Fraction | int]] = {
    "mass": lambda text: parse_mass(text).grams,
    "percent": parse_percent,
    "count": parse_count,
}
MASSES = (
    *("60", "60.0 g", "60.0g", "0.06 kg", "2.1 oz", "1.5 lb", "1.5 lbs", "2,1 OZ", ".5 g", "0", "0 g", "007"),
    *(
        "0,125 kg",
        "60.0000000001 g",
        "12345678901234567890 g",
        "  60\u00a0g ",
        "60\u202fg",
        "1  lb",
        "\t60\n",
    ),
    *("\x1c60 g\x1f", "60 KG", "60 \u212ag", "60\u2003g"),
    *("60 grams", "60 mg", "60 t", "2 lb 3 oz", "lb", "g", "60 g g", "60lb.", "1 1/2 lb", "½ lb", "60 µg"),
    *("\ufeff60 g", "60\u200bg", "60 \u0261", "8,514 g"),
)
PERCENTS = (
    *("14.5", "14.5 %", "14,5%", "0", "0 %", "200", "200.000 %", " 14.5\u00a0% ", ".5", "007 %", "14.5\n%"),
    *("14.123456789 %", "0.0000005", "0.0000015 %", "0.0000025", "14.5  %"),
    *("200.000001", "201 %", "999999", "14 % %", "%", " %", "%14", "14.5 percent", "14٪", "14％", "8,514 %"),
    *("14 5", "14.5.", "1e1 %"),
)
COUNTS = (
    *("0", "1", "9999", "0000", "0007", " 2 ", "\u00a02\u2003", "2\n", "\x1f2", "\x852"),
    *(
        "10000",
        "00000",
        "2.0",
        "2,0",
        "two",
        "٣",
        "３",
        "²",
        "1 2",
        "2\x00",
        "\ufeff2",
        "2\u200b",
        "0x1",
        "1_0",
    ),
)
HOSTILE = (
    *(
        "",
        " ",
        "\u00a0\t",
        "-3",
        "−3",
        "+3",
        "1e3",
        "nan",
        "inf",
        "NaN %",
        "Infinity",
        "0x10",
        "３",
        "٣",
        "Ⅻ",
    ),
    *(
        "12.3.4",
        "12.",
        "1,2,3",
        "1.234,5",
        "{given}",
        "{",
        "$&",
        "$1",
        "<b>1</b>",
        "__proto__",
        "constructor",
    ),
    *("1" * 39, "1" * 40, "1" * 41, "9" * 500, "📏", "📏" * 40, "📏" * 41, "\u00a0" * 41, "6" + " " * 40),
    *("1;2", "1\x002", "\x00", "1\n2", "'; --", "İ", "undefined", "null"),
)
SLIPS = "0123456789 .,-+%\u00a0glbkgoz½٣"


def parsed(case: Case) -> Case:
    """The exact amount of what was typed, as a fraction in its lowest terms."""
    number = PARSERS[case["entry"]](case["text"])
    return {"top": str(number.numerator), "bottom": str(number.denominator)}


def typed_cases(random: Random) -> Iterator[Case]:
    """What people might type for a mass, a percentage and a count, also with a slip of the finger."""
    for entry, texts in (("mass", MASSES), ("percent", PERCENTS), ("count", COUNTS)):
        for text in (*texts, *HOSTILE):
            yield {"entry": entry, "text": text}
        for _ in range(100):
            text = random.choice(texts)
            at = random.randrange(len(text) + 1)
            slip = text[:at] + random.choice(SLIPS) + text[at + random.randrange(2) :]
            yield {"entry": entry, "text": slip}


def shown(case: Case) -> Case:
    """An amount as the shop writes it; as a deviation, as something worked out, and as an uncertainty."""
    quantity, grains = Quantity(case["quantity"]), int(case["grains"])
    units = Units(case["system"], case["denominator"])
    return {
        "amount": format_amount(quantity, grains, units),
        "deviation": format_difference(quantity, grains, units),
        "derived": format_derived(quantity, grains, units),
        "spread": format_spread(quantity, abs(grains), units),
    }


def shown_cases(random: Random) -> Iterator[Case]:
    """Amounts of every quantity in both systems: none, on graduations, half-way in the last place."""
    lengths = [0, 1, 12_700, 38_100, 50_000, 150_000, SIXTY_FOURTH, 3 * SIXTY_FOURTH, INCH // 3, 12 * INCH]
    # an eighth and three eighths of a pound are half-way in two places, and exact in a float
    densities = [0, 1, 5_000, 125_000, 375_000, 3_500_000, 3_625_000, 3_875_000, 3_505_000, 62_500]
    moistures = [0, 1, 10, 14_500_000, 14_123_456, 14_000_000, 200_000_000, 100_000, 9_999_999]
    counts = [0, 1, 2, 17, 9999]
    lengths += [random.randrange(400 * 64) * SIXTY_FOURTH for _ in range(30)]
    lengths += [random.randrange(400 * INCH) for _ in range(30)]
    densities += [random.randrange(8_000_000) for _ in range(40)]
    moistures += [random.randrange(40_000_000) for _ in range(20)]
    # 250 g is half-way in kilograms with one place
    masses = [0, 1, 250_000_000, 750_000_000, 453_592_370, 22_679_618, 9_752_000_000, 1_350_000_000]
    masses += [random.randrange(30_000_000_000) for _ in range(20)]
    drawn = {
        "length": lengths,
        "density": densities,
        "moisture": moistures,
        "mass": masses,
        "count": counts,
    }
    for quantity, amounts in drawn.items():
        for grains in (signed for amount in amounts for signed in {amount, -amount}):
            for system in SYSTEMS:
                yield {
                    "quantity": quantity,
                    "grains": str(grains),
                    "system": system,
                    "denominator": random.choice(GRADUATIONS),
                }
