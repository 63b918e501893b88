"""A fit to bytes and back, without pickle: named arrays in numpy's own format, one of them a JSON header.

The header carries the format's version and a digest of every array, so that a fit that was altered, cut
short or made by another program is refused.
"""

import hashlib
import io
import json
import zipfile
from dataclasses import asdict, fields, replace
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.errors import ModelError
from pricing.model.calibration.calibration import Calibration
from pricing.model.calibration.market_shift import MarketShift
from pricing.model.calibration.score_law import ScoreLaw
from pricing.model.features.asking import AskingGap
from pricing.model.features.condition_scale import ConditionScale
from pricing.model.features.design import Design
from pricing.model.features.encoding import CategoryEncoder, GroupEncoder, Numeric
from pricing.model.features.spec import FeatureSpec
from pricing.model.features.trees import Interactions
from pricing.model.opinion_bands import OpinionBands
from pricing.model.prediction import Fitted
from pricing.model.price_model import PriceModel
from pricing.model.regression.fitting import Estimates
from pricing.model.regression.hedonic import HedonicRegression
from pricing.model.regression.pooling import LevelPosterior, Posterior, Priors
from pricing.model.statements import Heard
from pricing.store.market import Market

FORMAT = "classic-car-pricing fit 4"
OPINIONS_FORMAT = "classic-car-pricing opinions 1"
"""Of the fit of a market without sales enough: the statements themselves."""

HEARD = ("counted", "bias", "scale", "held")
"""Arrays of what a fit made of statements."""

NUMERIC = [field.name for field in fields(Numeric) if field.name != "knots"]
"""What the header holds of a numeric column, in this order."""

LARGEST_TIMES: Final = 100
LARGEST_MORE: Final = 100_000_000
"""A fit unpacks to at most so many times its bytes, and so many more."""

Arrays = dict[str, NDArray[Any]]


def save(model: PriceModel, market: Market) -> str:
    """Keep a fit in the market file; returns its fit id.

    Raises:
        ModelError: the model is not fitted.
    """
    return market.store_fit(to_bytes(model), {**model.facts, "market_digest": market.digest()})


def load(market: Market, fit_id: str | None = None) -> PriceModel:
    """The newest fit of the market file, or the one with this id.

    Raises:
        MarketError: the market holds no such fit.
        ModelError: the stored fit was altered or is of another format.
    """
    payload, _ = market.load_fit(fit_id)
    return from_bytes(payload)


def to_bytes(model: PriceModel) -> bytes:
    """A fitted model as bytes."""
    if isinstance(model, OpinionBands):
        statements_file = io.BytesIO()
        model.statements.write_parquet(statements_file)
        statements = np.frombuffer(statements_file.getvalue(), dtype=np.uint8)
        return _sealed({"format": OPINIONS_FORMAT, "facts": model.facts}, {"statements": statements})
    gap = model.fitted.design.asking
    design, estimates = model.fitted.design, model.fitted.regression.estimates
    arrays: Arrays = {
        "reference": model.fitted.reference,
        "calibration.scores": model.calibration.law.scores,
        "calibration.scales": model.calibration.scales,
        "time_knots": design.time_knots,
        "drift_knots": design.drift_knots,
    }
    trees = model.fitted.interactions.trees
    arrays["trees.sizes"] = np.array([len(nodes) for nodes in trees], dtype=np.int64)
    if trees:
        arrays["trees.nodes"] = np.concatenate(trees)
    arrays |= {f"inverted.{level}": inverted for level, inverted in enumerate(estimates.inverted)}
    arrays |= {f"counts.{level}": counts for level, counts in enumerate(model.fitted.counts)}
    heard = model.fitted.heard
    if heard is not None:
        arrays |= _posterior_arrays("mean without", heard.without.estimates.posterior, estimates.priors)
        arrays |= {f"heard.{name}": getattr(heard, name) for name in HEARD}
    arrays |= _posterior_arrays("mean", estimates.posterior, estimates.priors)
    arrays |= _posterior_arrays("spread", estimates.spread_posterior, estimates.spread_priors)
    arrays |= {f"knots.{numeric.name}": numeric.knots for numeric in design.numerics}
    header = {
        "format": FORMAT,
        "spec": model.spec.to_dict(),
        "baseline": model.fitted.interactions.baseline,
        "seed": model.seed,
        "facts": model.facts,
        "degrees": estimates.degrees_of_freedom,
        "calibration_count": model.calibration.law.count,
        "market_shift": asdict(model.calibration.shift),
        "condition": asdict(design.condition) if design.condition else None,
        "asking": [gap.present, gap.by and [gap.by.name, gap.by.values], gap.names],
        "options": design.options,
        "numerics": [[getattr(numeric, name) for name in NUMERIC] for numeric in design.numerics],
        "categories": [[category.name, category.values] for category in design.categories],
        "days": [design.first_day, design.last_day],
        "groups": [table.to_dict(as_series=False) for table in design.groups.tables],
        "sources": None if heard is None else heard.names,
    }
    return _sealed(header, arrays)


def _sealed(header: dict[str, Any], arrays: Arrays) -> bytes:
    digests = {name: _digest(array) for name, array in arrays.items()}
    text = json.dumps(header | {"digests": digests}, sort_keys=True).encode()
    buffer = io.BytesIO()
    sealed = {"header": np.frombuffer(text, dtype=np.uint8), "seal": _seal(text)}
    np.savez_compressed(buffer, **sealed, **arrays)  # type: ignore[arg-type]
    return buffer.getvalue()


def from_bytes(payload: bytes) -> PriceModel:
    """The inverse of :func:`to_bytes`.

    Raises:
        ModelError: the bytes are not a fit of this format, or were altered.
    """
    header, arrays, text, seal = _parts(payload)
    if header.get("format") not in (FORMAT, OPINIONS_FORMAT):
        raise ModelError(
            f"the stored fit is of another format: got {header.get('format')!r}, expected {FORMAT!r}"
        )
    if altered := _altered(header, arrays, text, seal):
        raise ModelError(f"the stored fit was altered: {altered}")
    try:
        if header["format"] == OPINIONS_FORMAT:
            statements = pl.read_parquet(io.BytesIO(arrays["statements"].tobytes()))
            return OpinionBands(statements, header["facts"]["sales"], header["facts"]["seed"])
        return _rebuilt(header, arrays)
    except Exception as error:  # a header may be sealed by anybody
        raise ModelError(
            f"the stored fit lacks a part or has it in another form: {_first_line(error)}"
        ) from None


def _parts(payload: bytes) -> tuple[dict[str, Any], Arrays, bytes, NDArray[np.uint8]]:
    """Header and arrays of a fit as they lie in its bytes, the header's text and its seal; altered or not."""
    most = LARGEST_TIMES * len(payload) + LARGEST_MORE
    try:
        with zipfile.ZipFile(io.BytesIO(payload)) as packed:
            total = sum(member.file_size for member in packed.infolist())
        if total > most:
            raise ModelError(f"the stored fit cannot be read: it unpacks to {total:,} bytes, over {most:,}")
        with np.load(io.BytesIO(payload), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        text, seal = arrays.pop("header").tobytes(), arrays.pop("seal")
        header = dict(json.loads(text))
        header["digests"] = dict(header["digests"])
    except ModelError:
        raise
    except Exception as error:  # damaged bytes make zip, deflate, numpy and JSON raise anything
        raise ModelError(f"the stored fit cannot be read: {_first_line(error)}") from None
    return header, arrays, text, seal


def of_another_format(payload: bytes) -> bool:
    """Whether bytes are a fit, whole to its digests, that another version of this program made.

    >>> of_another_format(b"no fit")
    False
    """
    try:
        header, arrays, text, seal = _parts(payload)
    except ModelError:
        return False
    other = header.get("format") not in (FORMAT, OPINIONS_FORMAT)
    return other and not _altered(header, arrays, text, seal)


def _altered(header: dict[str, Any], arrays: Arrays, text: bytes, seal: NDArray[np.uint8]) -> str:
    """What of a fit is not as it was sealed; nothing of a whole one."""
    if not np.array_equal(seal, _seal(text)):
        return "its header does not match its seal"
    digests, actual = header["digests"], {name: _digest(array) for name, array in arrays.items()}
    other = [name for name in {*digests, *actual} if digests.get(name) != actual.get(name)]
    return f"{len(other)} of its arrays do not match their digest" if other else ""


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__


def _rebuilt(header: dict[str, Any], arrays: Arrays) -> PriceModel:
    spec = FeatureSpec.from_dict(header["spec"])
    model = PriceModel(spec, header["seed"])
    shift = MarketShift(**header["market_shift"])
    design = _design(spec, shift, header, arrays)
    levels = len(design.groups.tree.parents)
    estimates = Estimates(
        *_posterior("mean", arrays, levels),
        *_posterior("spread", arrays, levels),
        header["degrees"],
        [arrays[f"inverted.{level}"] for level in range(levels + 1)],
    )
    regression = HedonicRegression(estimates, design.spread_columns)
    sizes = arrays["trees.sizes"]
    trees = tuple(np.split(arrays["trees.nodes"], np.cumsum(sizes)[:-1])) if len(sizes) else ()
    interactions = Interactions(header["baseline"], trees)
    counts = [arrays[f"counts.{level}"] for level in range(levels)]
    heard = None
    if header.get("sources") is not None:
        posterior, _ = _posterior("mean without", arrays, levels)
        without = replace(regression, estimates=replace(estimates, posterior=posterior))
        parts = {name: arrays[f"heard.{name}"] for name in HEARD}
        heard = Heard(regression, without, names=tuple(header["sources"]), **parts)
    model.fitted = Fitted(design, regression, interactions, counts, arrays["reference"], heard)
    law = ScoreLaw(arrays["calibration.scores"], header["calibration_count"])
    model.calibration = Calibration(law, arrays["calibration.scales"], shift)
    model.facts = header["facts"]
    return model


def _posterior_arrays(part: str, posterior: Posterior, priors: Priors) -> Arrays:
    arrays: Arrays = {
        f"{part}.market": posterior.market,
        f"{part}.covariance": posterior.covariance,
        f"{part}.priors.market": priors.market,
        f"{part}.priors.levels": priors.levels,
    }
    for index, (level, totals) in enumerate(zip(posterior.levels, posterior.totals, strict=True)):
        arrays[f"{part}.{index}.columns"] = level.columns
        arrays[f"{part}.{index}.totals"] = totals
        if part != "spread":
            arrays[f"{part}.{index}.gain"], arrays[f"{part}.{index}.spread"] = level.gain, level.spread
    return arrays


def _posterior(part: str, arrays: Arrays, levels: int) -> tuple[Posterior, Priors]:
    none = np.empty((0, 0, 0))
    deviations = [
        LevelPosterior(
            arrays[f"{part}.{index}.columns"],
            arrays.get(f"{part}.{index}.gain", none),
            arrays.get(f"{part}.{index}.spread", none),
        )
        for index in range(levels)
    ]
    totals = [arrays[f"{part}.{index}.totals"] for index in range(levels)]
    priors = Priors(arrays[f"{part}.priors.market"], arrays[f"{part}.priors.levels"])
    return Posterior(
        arrays[f"{part}.market"], arrays[f"{part}.covariance"], deviations, totals, float("nan")
    ), priors


def _design(spec: FeatureSpec, shift: MarketShift, header: dict[str, Any], arrays: Arrays) -> Design:
    design = Design(spec, shift, shift.season)
    names = [pl.DataFrame(table, schema=dict.fromkeys(table, pl.String)) for table in header["groups"]]
    design.groups = GroupEncoder(spec.groups, tuple(names))
    scale = header["condition"]
    design.condition = (
        ConditionScale(**{**scale, "bands": tuple(scale["bands"]), "unseen": tuple(scale["unseen"])})
        if scale
        else None
    )
    present, by, tiered = header["asking"]
    encoder = CategoryEncoder(by[0], tuple(by[1])) if by else None
    design.asking = AskingGap(present, encoder, tuple(tiered))
    design.options = [(name, code) for name, code in header["options"]]
    numerics = (dict(zip(NUMERIC, values, strict=True)) for values in header["numerics"])
    design.numerics = [Numeric(**each, knots=arrays[f"knots.{each['name']}"]) for each in numerics]
    design.categories = [CategoryEncoder(name, tuple(values)) for name, values in header["categories"]]
    design.first_day, design.last_day = header["days"]
    design.time_knots, design.drift_knots = arrays["time_knots"], arrays["drift_knots"]
    design.lay_out()
    return design


def _seal(text: bytes) -> NDArray[np.uint8]:
    return np.frombuffer(hashlib.sha256(text).digest(), dtype=np.uint8)


def _digest(array: NDArray[Any]) -> str:
    described = f"{array.dtype.str} {array.shape} ".encode()
    return hashlib.sha256(described + np.ascontiguousarray(array).tobytes()).hexdigest()
