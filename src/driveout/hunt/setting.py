"""What an advert is weighed with: the fault network of its class, the repairs, the loss of value of each fault."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from driveout.faults import Network, Pack, knowledge, shipped_network
from driveout.hunt.advert import Advert
from driveout.hunt.phrases import network_phrases, pack_phrases
from driveout.outlook import FaultFacts, Rules
from driveout.repairs import Catalogue, catalogue
from driveout.uncertain import ThreePoint


@dataclass(frozen=True, eq=False)
class Setting:
    """Own rules and knowledge; what is None comes from the shipped files.

    Attributes
    ----------
    rules
        The person's own rules.
    network
        A caller's own fault network, used for every class of advert; or None.
    own_pack
        Content of the person's own ``driveout-pack/1`` file, or None.
    own_repairs
        Content of the person's own ``driveout-repairs/1`` file, or None.
    """

    rules: Rules
    network: Network | None = None
    own_pack: str | bytes | None = None
    own_repairs: str | bytes | None = None

    @property
    def phrases(self) -> tuple[tuple[str, str], ...]:
        """Pairs of finding and phrase for the reader of adverts."""
        return pack_phrases(self.own_pack) if self.network is None else network_phrases(self.network)

    def network_of(self, advert: Advert) -> Network:
        """The fault network for one advert."""
        if self.network is not None:
            return self.network
        return shipped_network(advert.prior_class, self.own_pack, advert.build)

    def repairs_of(self, advert: Advert) -> Catalogue:
        """The repairs for one advert; a car of unknown drive counts as front drive."""
        return _repairs(self.own_repairs, "rear_drive" if advert.drive == "rwd" else "front_drive")

    @property
    def facts(self) -> Mapping[str, FaultFacts]:
        """Name and loss of value of each fault of the pack."""
        return fault_facts(self.own_pack)


@lru_cache(maxsize=8)
def _repairs(own: str | bytes | None, layout: str) -> Catalogue:
    return catalogue(own, layout=layout)


@lru_cache(maxsize=8)
def fault_facts(own_pack: str | bytes | None = None) -> Mapping[str, FaultFacts]:
    """What leaving each fault of the pack costs, as the outlook wants it."""
    return _facts(knowledge(own_pack))


def _facts(pack: Pack) -> dict[str, FaultFacts]:
    return {
        fault.id: FaultFacts(
            fault.name,
            ThreePoint(*fault.value_loss) if max(fault.value_loss) > 0 else None,
            fault.safety == "critical",
        )
        for fault in pack.faults.values()
    }
