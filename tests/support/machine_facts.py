"""Facts of the trade asked of a drawn installation of a machine file; each says whether it comes out."""

from dataclasses import replace

from replay.physics import Channel, Result, Start, simulate
from replay.physics.drawing import HEATER_K, Site
from replay.physics.duty import made

PSI = 6894.757293168361
SHUT_S = 60.0


def shut(site: Site, reopen_s: float | None = None, duration_s: float = 960.0) -> Result:
    """Shut suction on the running machine, and open it again."""
    plan = site.schedule().change(Channel.SUCTION_VALVE, SHUT_S, 0.0, 2.0)
    if reopen_s is not None:
        plan.change(Channel.SUCTION_VALVE, reopen_s, 1.0, 2.0)
    return simulate(replace(made(site, plan, duration_s), chain=replace(site.chain, period_ms=1000, jitter_ms=0)))


def runs_well(site: Site) -> bool:
    """Run ten minutes undisturbed: never below half the healthy pressure, no harm."""
    result = simulate(replace(made(site, site.schedule(), 600.0)))
    return bool(result.net_oil_pa.min() > 0.5 * site.behaviour.healthy_net_pa) and result.damage.certainty == "none"


def starts_in_the_morning(site: Site) -> bool:
    """Start after a night with the heater on: pressure within 10 s, and it holds."""
    plan = site.schedule(running=False).change(Channel.RUN, 20.0, 1.0)
    start: Start = site.rested(site.ambient_c + HEATER_K, 0.8)
    result = simulate(made(site, plan, 620.0, start))
    seconds = result.time_ms / 1000.0
    later = result.net_oil_pa[seconds > 30.0]
    return bool((later > 9.0 * PSI).mean() > 0.98) and result.damage.certainty == "none"


def pulls_to_its_vacuum(site: Site) -> bool:
    """Come within a quarter over (1 + 1/c)^k with suction shut, and no lower."""
    lowest = float(shut(site).true_suction_pa.min())
    return 0.99 * site.limiting_vacuum_pa < lowest < 1.25 * site.limiting_vacuum_pa


def loses_its_oil_pressure(site: Site) -> bool:
    """Lose pressure of a still oil to below the floor in a hard vacuum, for good."""
    result = shut(site)
    last = result.time_ms > 360_000
    return bool((result.net_oil_pa[last] < result.floor_pa[last]).mean() > 0.95)


def is_spoilt_at_the_reopening(site: Site) -> bool:
    """Reopen on a still oil after 400 s: the likely journal is whole until then and spoilt within half a minute."""
    result = shut(site, reopen_s=SHUT_S + 400.0)
    spells = result.damage.spells
    likely = [spell.times_s[1] for spell in spells if spell.times_s[1] is not None]
    return bool(likely) and SHUT_S + 400.0 <= likely[0] < SHUT_S + 435.0


def recovers_in_the_vacuum(site: Site) -> bool:
    """Shut on a foaming oil: pressure dips below 9 psi and is back while suction is still shut."""
    result = shut(site)
    seconds = result.time_ms / 1000.0
    dip = result.net_oil_pa[(seconds > SHUT_S) & (seconds < 400.0)].min()
    later = result.net_oil_pa[seconds > 700.0]
    return bool(dip < 9.0 * PSI and (later > 9.0 * PSI).mean() > 0.9)
