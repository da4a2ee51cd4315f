"""What is probably wrong, given what was said, seen and measured: exact, no sampling."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property

import numpy as np
import numpy.typing as npt

from driveout.errors import BadEntry, CannotSay
from driveout.faults.compiled import Compiled, compile_network
from driveout.faults.network import ABSENT, SILENT, SUPPOSED, Network
from driveout.faults.recursion import CHUNK_NUMBERS, Folded, fold, solve, too_many_open
from driveout.faults.sampling import draw

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_TERM_FINDINGS = 16


@dataclass(frozen=True, eq=False)
class SignedTerms:
    """A posterior as a signed sum of products: what cost and hour forecasts are computed from.

    ``P(d, evidence) = sum_t weight[t] * prod_i factors[i][t, d_i]``. ``weight`` has shape (T,),
    some of it negative. ``factors[i]`` has shape (T, 1 + K_i) and belongs to cause
    ``causes[i]``; column 0 is ``absent``, column k its k-th state. ``normaliser`` is
    ``P(evidence)``, so dividing by it gives ``P(d | evidence)``. Factors that are the same in
    every term are read-only views with stride 0: multiply, do not write into them.
    """

    causes: tuple[str, ...]
    weight: Floats
    factors: tuple[Floats, ...]
    normaliser: float


@dataclass(frozen=True, eq=False)
class World:
    """One combination of roots and arc parents; within it the blocks are independent.

    ``P(d, evidence) = sum_world weight * prod_block (signed sum of the block)``. Far fewer terms
    than one signed sum over everything: each block only expands its own positive findings, and
    all causes that no open finding ties together stand in one block of one term.
    """

    weight: float
    blocks: tuple[SignedTerms, ...]


@dataclass(frozen=True, eq=False)
class Reading:
    """Evidence translated into codes of a compiled network."""

    compiled: Compiled
    evidence: Mapping[str, str]
    codes: Ints
    allowed: npt.NDArray[np.bool_] | None  # (Q,), from evidence about causes
    worlds: Ints  # worlds that agree with evidence about roots


def read_evidence(compiled: Compiled, evidence: Mapping[str, str]) -> Reading:
    """Look up every piece of evidence; unknown names are answered with the nearest known ones.

    Parameters
    ----------
    compiled
        The network's arrays.
    evidence
        Finding id to outcome label or ``silent``. A cause id may be given with one of its states
        or ``absent`` (proved by taking apart), a root id with one of its states.

    Returns
    -------
    Reading
        Codes and masks.

    Raises
    ------
    BadEntry
        For an unknown id or label.
    """
    codes = []
    allowed: npt.NDArray[np.bool_] | None = None
    worlds = compiled.worlds
    for name, label in evidence.items():
        code = compiled.code.get((name, label))
        if code is not None:
            codes.append(code)
            continue
        network = compiled.network
        if name in network.cause:
            allowed = np.ones(compiled.upper.shape[1], bool) if allowed is None else allowed
            _allow(compiled, allowed, name, label)
        elif name in network.root:
            state = _one_of(label, network.root[name].states, name)
            at = network.roots.index(network.root[name])
            worlds = np.array([w for w in worlds if compiled.world_roots[w][at] == state], int)
        elif name in network.finding:
            _one_of(label, network.finding[name].labels, name)
        else:
            raise unknown_id(name, [*network.finding, *network.cause, *network.root])
    return Reading(compiled, evidence, np.array(codes, dtype=np.int64), allowed, worlds)


def _allow(compiled: Compiled, allowed: npt.NDArray[np.bool_], cause: str, label: str) -> None:
    i = list(compiled.network.cause).index(cause)
    state = _one_of(label, (ABSENT, *(s.id for s in compiled.network.cause[cause].states)), cause)
    mine = slice(int(compiled.start[i]), int(compiled.start[i + 1]))
    allowed[mine] &= compiled.public[mine] == compiled.public_start[i] + state


def _one_of(label: str, labels: Sequence[str], name: str) -> int:
    if label not in labels:
        raise BadEntry(
            f"{name!r} cannot be {label!r}. It can be: {', '.join(labels)}.",
            field=name,
            value=label,
            allowed=", ".join(labels),
        )
    return labels.index(label)


def known_outcome(network: Network, name: str, label: str) -> str:
    """The plain name of a finding, cause or root, after making sure that the label fits it.

    Parameters
    ----------
    network
        The network.
    name
        Id of a finding, cause or root.
    label
        Outcome or state.

    Returns
    -------
    str
        Its name in words.

    Raises
    ------
    BadEntry
        For an unknown id (the nearest known ones are named) or a label that does not fit.
    """
    if name in network.finding:
        finding = network.finding[name]
        if label != SUPPOSED or finding.kind != "advert":
            _one_of(label, finding.labels, name)
        return finding.name
    if name in network.cause:
        _one_of(label, (ABSENT, *(s.id for s in network.cause[name].states)), name)
        return network.cause[name].name
    if name in network.root:
        _one_of(label, network.root[name].states, name)
        return network.root[name].name
    raise unknown_id(name, [*network.finding, *network.cause, *network.root])


def unknown_id(name: str, known: Iterable[str]) -> BadEntry:
    """The error for a name that is not in the network, with the nearest known ones."""
    from rapidfuzz import process

    near = [hit[0] for hit in process.extract(name, list(known), limit=3, score_cutoff=50)]
    tip = f"Nearest known: {', '.join(near)}." if near else "Nothing known is near it."
    return BadEntry(f"{name!r} is not in the network. {tip}", field=name, value=name, allowed=", ".join(near))


@dataclass(frozen=True, eq=False)
class Speaks:
    """What one finding does to one fault: log odds with it minus log odds without it."""

    finding: str
    outcome: str
    log_odds: float


@dataclass(frozen=True, eq=False)
class Posterior:
    """Exact probabilities of every cause given the evidence.

    ``evidence_probability`` is ``P(evidence)``; ``columns`` are the probabilities on the public
    axis (absent and states of every cause, in the network's order).
    """

    compiled: Compiled
    evidence: Mapping[str, str]
    evidence_probability: float
    columns: Floats
    reading: Reading = field(repr=False)

    @property
    def network(self) -> Network:
        """The network that was asked."""
        return self.compiled.network

    @cached_property
    def marginals(self) -> dict[str, dict[str, float]]:
        """Probability of every state (``absent`` included) of every cause."""
        values = self.columns.tolist()
        return {
            cause: dict(zip(names, values[low:high], strict=True))
            for cause, names, low, high in self.compiled.names
        }

    @cached_property
    def faults(self) -> dict[str, float]:
        """Probability of every fault (a state that repairs know by name)."""
        return {
            cause.fault_of(state): self.marginals[cause.id][state.id]
            for cause in self.network.causes
            for state in cause.states
        }

    def terms(self) -> SignedTerms:
        """The posterior as one signed sum over all causes; see ``SignedTerms`` for the shapes.

        Returns
        -------
        SignedTerms
            ``T`` = worlds times 2 to the number of positive findings that two or more causes
            explain.

        Raises
        ------
        CannotSay
            When more than 16 such findings are open; ``blocks`` may still answer.
        """
        worlds = _world_terms(self, joined=True)
        parts = [block for world in worlds for block in world.blocks]
        weights = [world.weight * b.weight for world in worlds for b in world.blocks]
        if len(parts) == 1:
            return SignedTerms(parts[0].causes, weights[0], parts[0].factors, self.evidence_probability)
        factors = tuple(
            np.concatenate([p.factors[i] for p in parts]) for i in range(len(self.network.causes))
        )
        return SignedTerms(parts[0].causes, np.concatenate(weights), factors, self.evidence_probability)

    def blocks(self) -> tuple[World, ...]:
        """The posterior as worlds of independent blocks; see ``World``.

        Returns
        -------
        tuple[World, ...]
            One per combination of roots and arc parents that the evidence leaves possible.

        Raises
        ------
        CannotSay
            When one block alone has more than 16 open positive findings.
        """
        return _world_terms(self, joined=False)

    def sample(self, rng: np.random.Generator, n: int) -> npt.NDArray[np.int64]:
        """Draw sets of faults from the posterior, independent and exact.

        Parameters
        ----------
        rng
            Source of randomness.
        n
            How many draws.

        Returns
        -------
        npt.NDArray[np.int64]
            (n, causes): state index of every cause, 0 for absent.
        """
        return draw(self.compiled, folded_rows(self.reading), rng, n)

    def speaks(self) -> dict[str, tuple[Speaks, ...]]:
        """For every fault, what each finding adds or takes, strongest first (leave one out).

        Returns
        -------
        dict[str, tuple[Speaks, ...]]
            Natural log odds; ``inf`` when a finding alone makes a fault certain or impossible.
        """
        return leave_one_out(self)


def infer(network: Network | Compiled, evidence: Mapping[str, str]) -> Posterior:
    """Exact probability of every cause given the evidence.

    Parameters
    ----------
    network
        A network, or what ``compile_network`` made of it.
    evidence
        Finding id to outcome label, or ``silent`` for an advert that does not mention it.
        Causes and roots may be given too, when they are known.

    Returns
    -------
    Posterior
        Probabilities, evidence probability, terms, samples, what speaks for what.

    Raises
    ------
    BadEntry
        For an unknown id or label; the nearest known ids are named.
    CannotSay
        When the evidence contradicts itself (the findings are named) or cannot be summed out.
    """
    compiled = network if isinstance(network, Compiled) else compile_network(network)
    reading = read_evidence(compiled, evidence)
    total, columns = weigh(reading)
    if not total > 0:
        raise contradiction(reading)
    return Posterior(compiled, dict(evidence), total, columns, reading)


def folded_rows(reading: Reading) -> Folded:
    """The evidence worked into the factors, one row per possible world."""
    base, scale, leak, ratio = _open_rows(reading)
    return fold(base, scale, reading.compiled.start, leak, ratio)


def _open_rows(reading: Reading) -> tuple[Floats, Floats, Floats, Floats]:
    compiled, codes = reading.compiled, reading.codes
    base = compiled.prior[reading.worlds] * compiled.upper[codes].prod(axis=0)
    if reading.allowed is not None:
        base = base * reading.allowed
    scale = compiled.world_weight[reading.worlds] * compiled.leak_upper[np.ix_(reading.worlds, codes)].prod(
        axis=1
    )
    open_ = codes[compiled.two_sided[codes]]
    return base, scale, compiled.leak_ratio[np.ix_(reading.worlds, open_)], compiled.ratio[open_]


def weigh(reading: Reading) -> tuple[float, Floats]:
    """P(evidence) and the probabilities on the public axis (0 when the evidence is impossible).

    Parameters
    ----------
    reading
        Evidence as codes.

    Returns
    -------
    tuple[float, Floats]
        Total and (public columns,).
    """
    compiled = reading.compiled
    if not len(reading.worlds):
        return 0.0, np.zeros(compiled.width)
    if engine() == "numba":
        return _weigh_fast(reading)
    total, conditional = solve(folded_rows(reading))
    whole = float(total.sum())
    if not whole > 0:
        return 0.0, np.zeros(compiled.width)
    return whole, public_columns(compiled, total / whole @ conditional)


def use_fast(wanted: bool = True) -> str:
    """Let compiled loops carry out the sums in this process, for callers with thousands of questions.

    They need the extra ``fast`` (numba) and about a second to load, which one question is not worth:
    the NumPy path is the default and gives the same numbers to about 1e-15.

    Parameters
    ----------
    wanted
        False goes back to NumPy.

    Returns
    -------
    str
        What is used from now on: ``numba``, or ``numpy`` when numba is not installed.
    """
    _chosen["engine"] = "numba" if wanted and _fast_is_there() else "numpy"
    return engine()


def engine() -> str:
    """What carries out the sums in this process: ``numpy`` or ``numba``."""
    return _chosen["engine"]


_chosen = {"engine": "numpy"}


@cache
def _fast_is_there() -> bool:
    from importlib.util import find_spec

    return find_spec("numba") is not None


def _arrays(reading: Reading) -> tuple[object, ...]:
    compiled = reading.compiled
    return (
        reading.codes,
        reading.worlds,
        compiled.world_weight,
        compiled.prior,
        compiled.everything if reading.allowed is None else reading.allowed,
        compiled.start,
        compiled.upper,
        compiled.ratio,
        compiled.leak_upper,
        compiled.leak_ratio,
        compiled.two_sided,
        compiled.touches,
    )


def _weigh_fast(reading: Reading) -> tuple[float, Floats]:
    from driveout.faults.fast import weigh_codes

    whole, sums = weigh_codes(*_arrays(reading))
    if whole < 0:
        raise too_many_open()
    if not whole > 0:
        return 0.0, np.zeros(reading.compiled.width)
    return whole, public_columns(reading.compiled, sums / whole)


def public_columns(compiled: Compiled, by_sub_state: Floats) -> Floats:
    """Add the sub-states of every state; look-alikes drop out. Works on the last axis."""
    own = int(compiled.start[len(compiled.network.causes)])
    if own == compiled.width:
        return by_sub_state[..., :own]
    return np.add.reduceat(by_sub_state[..., :own], compiled.first, axis=-1)


def contradiction(reading: Reading) -> CannotSay:
    """The error for impossible evidence, naming a smallest set that cannot be true together.

    Parameters
    ----------
    reading
        Evidence with probability 0.

    Returns
    -------
    CannotSay
        Names findings with their labels.
    """
    whole = dict(reading.evidence)

    def impossible(names: Iterable[str]) -> bool:
        some = {name: whole[name] for name in names}
        return not weigh(read_evidence(reading.compiled, some))[0] > 0

    left = list(whole)
    for name in list(left):
        if impossible([other for other in left if other != name]):
            left.remove(name)
    if len(left) > 2:
        # nothing can be left out of these, yet two others may already do
        spoken = [name for name, label in whole.items() if label != SILENT]
        pair = next((two for two in itertools.combinations(spoken, 2) if impossible(two)), None)
        left = list(pair or left)
    network = reading.compiled.network
    said = [f"{name} = {whole[name]}" for name in left]
    named = [
        f"{words} ({one})" if (words := _name_in(network, name)) else one
        for name, one in zip(left, said, strict=True)
    ]
    return CannotSay(
        f"These cannot all be true in this network: {', '.join(named)}. Look again at one of them.",
        missing=", ".join(left),
    )


def _name_in(network: Network, name: str) -> str:
    """What a person reads for a finding, a cause or a root."""
    known = network.finding.get(name) or network.cause.get(name) or network.root.get(name)
    return known.name if known is not None else ""


def leave_one_out(
    posterior: Posterior, together: Mapping[str, Sequence[str]] | None = None
) -> dict[str, tuple[Speaks, ...]]:
    """For every fault, the change of log odds when evidence is left out, sign turned.

    Parameters
    ----------
    posterior
        The answer with everything in.
    together
        Evidence that is left out together, by a name for it (for example all silences); each
        piece on its own when None.

    Returns
    -------
    dict[str, tuple[Speaks, ...]]
        Fault id to what speaks for or against it, strongest first.
    """
    network = posterior.network
    faults = list(posterior.faults)
    at = [
        int(posterior.compiled.public_start[i]) + 1 + k
        for i, cause in enumerate(network.causes)
        for k in range(len(cause.states))
    ]
    full = log_odds(posterior.columns[at])
    rows: dict[str, list[Speaks]] = {fault: [] for fault in faults}
    for name, members in (together or {k: (k,) for k in posterior.evidence}).items():
        rest = {k: v for k, v in posterior.evidence.items() if k not in members}
        _, columns = weigh(read_evidence(posterior.compiled, rest))
        with np.errstate(invalid="ignore"):
            change = full - log_odds(columns[at])
        change = np.nan_to_num(change, nan=0.0, posinf=np.inf, neginf=-np.inf)
        label = posterior.evidence[members[0]] if members else ""
        for fault, value in zip(faults, change.tolist(), strict=True):
            rows[fault].append(Speaks(name, label, value))
    return {fault: tuple(sorted(said, key=lambda s: -abs(s.log_odds))) for fault, said in rows.items()}


def log_odds(probability: Floats) -> Floats:
    """Natural log of p / (1 - p); infinite at 0 and 1."""
    with np.errstate(divide="ignore"):
        return np.log(probability) - np.log1p(-probability)


# ---------------------------------------------------------------- signed terms


def _world_terms(posterior: Posterior, *, joined: bool) -> tuple[World, ...]:
    compiled, reading = posterior.compiled, posterior.reading
    folded = folded_rows(reading)
    if joined:
        open_ = [f for part in folded.parts for f in part.findings]
        groups = [(open_, list(range(len(compiled.start) - 1)))]
    else:
        groups = [(part.findings, [*(i for i, _ in part.single), *part.several]) for part in folded.parts]
        used = {i for _, causes in groups for i in causes}
        groups.append(([], [i for i in range(len(compiled.start) - 1) if i not in used]))
    plain = public_columns(compiled, folded.base)  # (R, public columns), for causes that no open finding ties
    size = np.add.reduceat(plain, compiled.public_start[:-1], axis=1)
    expansions = [_Expansion.of(compiled, folded, findings, causes) for findings, causes in groups]
    worlds = []
    for row in range(len(folded.scale)):
        if folded.scale[row] > 0:
            weight = float(folded.scale[row])
            blocks = []
            for expansion in expansions:
                block = expansion.block(folded, row, plain[row], size[row])
                if block.causes:
                    blocks.append(block)
                else:  # only look-alikes: a plain number
                    weight *= float(block.weight.sum())
            worlds.append(World(weight, tuple(blocks)))
    return tuple(worlds)


@dataclass(frozen=True, eq=False)
class _Expansion:
    """What the signed sum over the open findings of one block has in common in all worlds."""

    compiled: Compiled
    findings: list[int]
    tied: dict[int, Floats]  # cause -> product of ratios over each subset (T, its sub-states)
    free: list[int]  # causes of the block that none of its findings ties
    own: list[int]  # causes of the network among both, in order

    @classmethod
    def of(cls, compiled: Compiled, folded: Folded, findings: list[int], causes: list[int]) -> _Expansion:
        if len(findings) > MOST_TERM_FINDINGS:
            raise CannotSay(
                f"{len(findings)} positive findings share causes; a signed sum is exact enough up to "
                f"{MOST_TERM_FINDINGS}. Leave out the weaker ones.",
                missing="fewer positive findings",
            )
        tied: dict[int, Floats] = {}
        for i in causes:
            if folded.touches[findings, i].any():
                columns = folded.columns(i)
                subsets = np.ones((1, columns.stop - columns.start))
                for f in findings:
                    subsets = np.concatenate([subsets, subsets * folded.ratio[f, columns]])
                tied[i] = subsets
        own = len(compiled.network.causes)
        free = [i for i in causes if i not in tied]
        return cls(compiled, findings, tied, free, sorted(i for i in causes if i < own))

    def block(self, folded: Folded, row: int, plain: Floats, size: Floats) -> SignedTerms:
        """The signed sum in one world."""
        weight = np.ones(1)
        for f in self.findings:
            weight = np.concatenate([weight, -weight * folded.leak[row, f]])
        total = weight.copy()
        own = len(size)
        factors: dict[int, Floats] = {}
        for i, subsets in self.tied.items():
            factor = folded.base[row, folded.columns(i)] * subsets
            total *= factor.sum(axis=1)
            if i < own:
                cuts = self.compiled.cuts[i]
                factors[i] = factor if len(cuts) == factor.shape[1] else np.add.reduceat(factor, cuts, axis=1)
            else:
                weight = weight * factor.sum(axis=1)
        for i in self.free:
            if i >= own:
                share = float(folded.base[row, folded.columns(i)].sum())
                weight, total = weight * share, total * share
            else:
                total *= size[i]
                low, high = self.compiled.public_start[i : i + 2]
                one = plain[None, low:high]
                factors[i] = one if len(weight) == 1 else np.broadcast_to(one, (len(weight), high - low))
        names = self.compiled.names
        return SignedTerms(
            tuple(names[i][0] for i in self.own),
            weight,
            tuple(factors[i] for i in self.own),
            float(total.sum()),
        )


# ---------------------------------------------------------------- many answers at once


@dataclass(frozen=True, eq=False)
class Grid:
    """Answers for every combination of some checks being undone or "at most this outcome".

    ``shape`` has one axis per check: index 0 = undone, index j = outcome ``j - 1`` or less.
    ``probability`` has that shape: P(evidence and the combination). ``columns`` has one axis
    more: the conditional probabilities on the public axis (``compiled.public_start``). The
    exact outcome j follows by subtracting the row before it, weighted by ``probability``.
    """

    checks: tuple[str, ...]
    probability: Floats
    columns: Floats


def grid(network: Network | Compiled, evidence: Mapping[str, str], checks: Sequence[str]) -> Grid:
    """Exact answers for all combinations of check results, the positives left to subtraction.

    With K yes-or-no checks that are 2**K answers instead of 3**K.

    Parameters
    ----------
    network
        A network, or what ``compile_network`` made of it.
    evidence
        What is known before the checks.
    checks
        Ids of findings of kind ``check`` that are not in the evidence.

    Returns
    -------
    Grid
        Probabilities and conditional probabilities of all causes.

    Raises
    ------
    BadEntry
        When a check is unknown, of kind ``advert``, or already in the evidence.
    """
    compiled = network if isinstance(network, Compiled) else compile_network(network)
    reading = read_evidence(compiled, evidence)
    uppers, leaks = [], []
    for name in checks:
        finding = compiled.network.finding.get(name)
        if finding is None:
            raise unknown_id(name, compiled.network.finding)
        if finding.kind != "check" or name in evidence:
            raise BadEntry(
                f"{name!r} is not a check still to be done: it is part of the advert or of the evidence.",
                field="checks",
                value=name,
            )
        codes = [compiled.code[name, label] for label in finding.outcomes[:-1]]
        uppers.append(np.vstack([np.ones(compiled.upper.shape[1]), compiled.upper[codes]]))
        leaks.append(
            np.vstack([np.ones(len(reading.worlds)), compiled.leak_upper[reading.worlds][:, codes].T])
        )
    shape = tuple(len(u) for u in uppers)
    if engine() == "numba":
        total, columns = _grid_fast(reading, uppers, leaks)
        return Grid(tuple(checks), total.reshape(shape), columns.reshape(*shape, -1))
    total = np.zeros(int(np.prod(shape, dtype=int)))
    columns = np.zeros((len(total), compiled.width))
    base, scale, leak, ratio = _open_rows(reading)
    step = max(1, CHUNK_NUMBERS // max(1, base.shape[1] * 4))
    for world in range(len(reading.worlds)):
        for low in range(0, len(total), step):
            rows = np.arange(low, min(low + step, len(total)))
            at = np.unravel_index(rows, shape) if shape else ()
            factor = np.broadcast_to(base[world], (len(rows), base.shape[1])).copy()
            weight = np.full(len(rows), scale[world])
            for axis, index in enumerate(at):
                factor *= uppers[axis][index]
                weight *= leaks[axis][index, world]
            shared = np.broadcast_to(leak[world], (len(rows), leak.shape[1]))
            z, conditional = solve(fold(factor, weight, compiled.start, shared, ratio))
            total[rows] += z
            columns[rows] += z[:, None] * public_columns(compiled, conditional)
    with np.errstate(invalid="ignore", divide="ignore"):
        columns = np.where(total[:, None] > 0, columns / total[:, None], 0.0)
    return Grid(tuple(checks), total.reshape(shape), columns.reshape(*shape, -1))


def _grid_fast(reading: Reading, uppers: Sequence[Floats], leaks: Sequence[Floats]) -> tuple[Floats, Floats]:
    from driveout.faults.fast import grid_codes

    compiled = reading.compiled
    levels = np.array([len(u) for u in uppers], dtype=np.int64)
    most = int(levels.max(initial=1))
    upper = np.ones((len(levels), most, compiled.upper.shape[1]))
    leak = np.ones((len(levels), most, len(compiled.world_weight)))
    for k, (rows, chances) in enumerate(zip(uppers, leaks, strict=True)):
        upper[k, : len(rows)] = rows
        leak[k, : len(rows), reading.worlds] = chances.T
    total, sums = grid_codes(*_arrays(reading), levels, upper, leak)
    if total[0] < 0:
        raise too_many_open()
    with np.errstate(invalid="ignore", divide="ignore"):
        columns = np.where(total[:, None] > 0, public_columns(compiled, sums) / total[:, None], 0.0)
    return total, columns
