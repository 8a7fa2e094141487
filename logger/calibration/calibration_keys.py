"""Declares every key of a calibration file: the one place for its unit, range, default, meaning and example."""

from __future__ import annotations

from logger.file_keys import FileKeys, Key, KeyKind, KeyTable, TableForm

NUMBER, WHOLE, FIGURE = KeyKind.NUMBER, KeyKind.WHOLE, KeyKind.FIGURE
FORMAT = 1  # version of the file: an index, no tuning
MOST_DEGREE = 3  # interface section 3
APPLIED, READING = "N or m", "the device's unit"  # units that the quantity and the device decide

CURVE = KeyTable(
    name="",
    form=TableForm.TOP,
    meaning="The curve reading = c0 + c1 applied + ..., and the points that it was fitted to.",
    keys=(
        Key(
            name="haul_calibration",
            kind=WHOLE,
            meaning="Version of this format",
            example="1",
            needed=True,
        ),
        Key(
            name="degree",
            kind=WHOLE,
            meaning="Degree of the curve",
            example="1",
            least=1,
            most=MOST_DEGREE,
            needed=True,
        ),
        Key(
            name="coefficients",
            kind=KeyKind.NUMBERS,
            meaning="c0, c1, ...: one more than the degree, in the device's unit / (N or m)^i",
            example="[0.12, 0.998]",
            needed=True,
        ),
        Key(
            name="covariance",
            kind=KeyKind.ROWS,
            meaning="Covariance of the coefficients: a row for each; not all 0 unless residual_sd is there",
            example="[[0.01, -1e-5], [-1e-5, 4e-8]]",
            needed=True,
        ),
        Key(
            name="residual_sd",
            kind=NUMBER,
            meaning="Standard deviation of the readings about the curve",
            example="0.8",
            default="not known, because there are no more points than coefficients",
            least=0.0,
            plain_unit=READING,
        ),
        Key(
            name="n",
            kind=WHOLE,
            meaning="Number of points; at least as many as coefficients",
            example="12",
            least=1,
            needed=True,
        ),
        Key(
            name="applied_least",
            kind=NUMBER,
            meaning="Least applied value of the points",
            example="0.0",
            needed=True,
            plain_unit=APPLIED,
        ),
        Key(
            name="applied_most",
            kind=NUMBER,
            meaning="Greatest applied value of the points; beyond it the curve is not known",
            example="5000.0",
            needed=True,
            plain_unit=APPLIED,
        ),
        Key(
            name="through_zero",
            kind=KeyKind.FLAG,
            meaning="Whether c0 is 0 by decision",
            example="true",
            default="false",
        ),
        Key(
            name="quantity",
            kind=KeyKind.TEXT,
            meaning="What was applied",
            example='"force"',
            default="that of the channel, which must agree with one that is written",
            choices=("force", "length"),
        ),
        Key(
            name="resolution",
            kind=NUMBER,
            meaning="Smallest step of a reading",
            example="0.1",
            default="not known",
            above=0.0,
            plain_unit=READING,
        ),
    ),
)
TERMS = KeyTable(
    name="terms",
    form=TableForm.ONE,
    meaning="Figures of ISO 376 and ASTM E74, for people; only the first two are used, to warn of a reading "
    "outside the verified range.",
    keys=(
        Key(
            name="least_loaded",
            kind=FIGURE,
            meaning="Least applied value other than 0, where the verified range begins",
            example="200.0",
            default="not stated",
            plain_unit=APPLIED,
        ),
        Key(
            name="class_a_from",
            kind=FIGURE,
            meaning="Where class A of ASTM E74 begins; the verified range begins there if it is higher",
            example="350.0",
            default="not stated",
            plain_unit=APPLIED,
        ),
        Key(
            name="class_aa_from",
            kind=FIGURE,
            meaning="Where class AA of ASTM E74 begins",
            example='"above the greatest force applied"',
            default="not stated",
            plain_unit=APPLIED,
        ),
        Key(
            name="llf",
            kind=FIGURE,
            meaning="Lower limit factor of ASTM E74",
            example="0.9",
            default="not stated",
            plain_unit=APPLIED,
        ),
        Key(
            name="repeatability_percent",
            kind=FIGURE,
            meaning="Repeatability b' of ISO 376",
            example="0.04",
            default="not stated",
        ),
        Key(
            name="reversibility_percent",
            kind=FIGURE,
            meaning="Reversibility v of ISO 376",
            example="0.07",
            default="not stated",
        ),
        Key(
            name="zero_return_percent",
            kind=FIGURE,
            meaning="Zero return f0 of ISO 376",
            example="0.01",
            default="not stated",
        ),
    ),
    others=True,
)
CALIBRATION = FileKeys(
    name="calibration",
    meaning="A calibration file, which `haul calibrate` makes and a channel's key calibration names.",
    tables=(CURVE, TERMS),
)
