"""Commands for profiles: what a desk answers alike in many appraisals. ``pricing profiles keep``, ``list``,
``use``, ``forget``."""

from typing import Annotated

from pricing.cli.appraising.appraisals import ByOption, Name, entry_of, report, who
from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption
from pricing.cli.output import answer, done
from pricing.cli.printing.console import progress
from pricing.operations.opening import MARKET_FILE, open_market

profiles_app = Commands(
    "profiles", "Profiles for appraisals: valuer, firm, client, standing texts; kept in this market alone."
)

ProfileName = Annotated[str, argument("Its name.")]
KindOption = Annotated[
    str | None, option("valuer, firm, client or texts; needed where several have the name.")
]


@profiles_app.example("pricing profiles keep 'home desk' --kind valuer --from appraisal-0001")
def keep(
    name: ProfileName,
    kind: Annotated[str, option("valuer, firm, client or texts.", show_default=False)],
    source: Annotated[
        str, option("Id of the appraisal whose answers are kept.", "--from", show_default=False)
    ],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep what an appraisal answers of a kind under a name, in the place of what had that name."""
    from pricing.appraisal.record.profiles import keep_profile

    opened, entry = entry_of(market, source)
    made = keep_profile(opened, kind, name, entry.record)
    done(vars(made), f"{made.kind} profile {made.name!r} holds {', '.join(made.answers)}")


@profiles_app.example("pricing profiles list", "list")
def show_list(market: MarketOption = MARKET_FILE) -> None:
    """List the profiles of the market, with what they hold."""
    from pricing.appraisal.record.profiles import profiles
    from pricing.cli.printing.appraisals import show_profiles

    every_profile = profiles(open_market(market))
    answer(every_profile, lambda: show_profiles(every_profile))


@profiles_app.example("pricing profiles use 'home desk' appraisal-0002")
def use(
    name: ProfileName,
    appraisal: Name,
    kind: KindOption = None,
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Take the answers of a profile over into an appraisal, in the place of its own; a revision."""
    from pricing.appraisal.record.profiles import profile, with_profiles
    from pricing.operations.appraisal_files import revised

    opened, before = entry_of(market, appraisal)
    record = with_profiles(before.record, [profile(opened, name, kind)])
    revised(opened, before, record, by=who(by), reason=f"profile {name}", display=progress)
    report(opened, appraisal)


@profiles_app.example("pricing profiles forget 'home desk'")
def forget(name: ProfileName, kind: KindOption = None, market: MarketOption = MARKET_FILE) -> None:
    """Remove a profile from the market; appraisals that took it over keep what they say."""
    from pricing.appraisal.record.profiles import profile

    opened = open_market(market)
    chosen = profile(opened, name, kind)
    opened.profiles.forget(chosen.kind, chosen.name)
    facts = {"kind": chosen.kind, "name": chosen.name}
    done(facts, f"{chosen.kind} profile {chosen.name!r} is forgotten")
