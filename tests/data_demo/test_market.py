"""The invented names are no one's, and the catalogue is whole."""

import polars as pl
import pytest
from rapidfuzz import fuzz, process

import data_demo
from data_demo.market import EXCHANGE, SOURCES, read_catalogue
from data_demo.untidy import MISSPELT
from pricing.condition.checks import CONSTRUCTIONS, Sheet

# Well-known makers of cars, past and present; from memory.
REAL_MAKERS = """
abarth|ac|acura|adler|aero|alfa romeo|allard|alpina|alpine|alta|alvis|amc|american motors|amilcar|amphicar
apollo|ariel|armstrong siddeley|arnolt|asa|aston martin|atalanta|auburn|audi|austin|austin healey
auto union|autobianchi|ballot|bandini|beardmore|bedford|bentley|benz|berkeley|berliet|bertone|bitter
bizzarrini|bmc|bmw|bond|borgward|bristol|brough superior|bsa|bugatti|buick|cadillac|calthorpe|caterham
champion|checker|chenard walcker|chevrolet|chrysler|cisitalia|citroen|clan|clyno|connaught|continental
cooper|cord|crosley|crossley|cunningham|dacia|daewoo|daf|daihatsu|daimler|darracq|datsun|davrian
de dion bouton|de soto|de tomaso|delage|delahaye|delaunay belleville|dellow|delorean|dkw|dodge|donnet
duesenberg|durant|edsel|elva|enzmann|essex|excalibur|facel vega|fairthorpe|ferrari|fiat|fiberfab|ford
fornasari|franklin|frazer nash|ghia|gilbern|ginetta|glas|gobron|goggomobil|goliath|gordini|gordon keeble
graham|gsm|gutbrod|gwynne|hanomag|hansa|healey|heinkel|henry j|hillman|hino|hispano suiza|holden|honda
horch|hotchkiss|howmet|hrg|hudson|humber|hupmobile|hyundai|imperia|innocenti|intermeccanica|international
invicta|iso|isotta fraschini|isuzu|itala|iveco|jaguar|jeep|jensen|jowett|kaiser|kia|kissel|kurtis|la salle
lada|lagonda|lamborghini|lanchester|lancia|land rover|lea francis|leyland|ligier|lincoln|lister|lloyd
locomobile|lola|lombardi|lorraine dietrich|lotus|lozier|lynx|maico|marauder|marcos|marendaz|marmon|martini
maserati|mathis|matra|maybach|mazda|mclaren|mercedes benz|mercer|mercury|messerschmitt|metropolitan|mg
minerva|mini|mitsubishi|monica|monteverdi|moretti|morgan|morris|moskvich|nag|nardi|nash|neckar|nissan
noble|nota|nsu|oakland|ogle|oldsmobile|om|opel|osca|osella|packard|panhard|panther|paramount|peerless
pegaso|peugeot|pierce arrow|plymouth|pontiac|porsche|prince|puma|railton|rambler|range rover|reliant
renault|reo|riley|rochdale|rolls royce|rosengart|rover|ruxton|saab|sachsenring|salmson|saturn|scimitar
seat|senechal|serpollet|shelby|siata|sigma|simca|singer|sizaire|skoda|spyker|squire|ssangyong|standard
stanguellini|stanley|star|steyr|stoewer|straker squire|studebaker|stutz|subaru|sunbeam|suzuki|swallow
swift|talbot|tatra|tempo|terraplane|thames|tornado|toyota|trabant|trident|triumph|trojan|tucker|turner|tvr
unipower|vanden plas|vauxhall|vaz|veritas|vespa|victoria|vignale|vinot|voisin|volga|volkswagen|volvo
wanderer|warszawa|wartburg|white|wikov|willys|wolseley|woodill|zagato|zaporozhets|zastava|zedel|zil
zundapp
"""

# Well-known names of cars; from memory.
REAL_CARS = """
accord|allegro|alpine|ami|anglia|appia|ardea|aronde|arosa|ascona|astra|aurelia|avant|avenger|azur
barchetta|beetle|beta|bluebird|bobcat|bonneville|boxster|brasilia|bronco|caddy|caimano|camaro|cambridge
capella|capri|caprice|caravelle|carina|carlton|carrera|cavalier|celica|challenger|champ|charger|chevette
civic|classic|clubman|comet|commodore|concerto|consul|continental|cordoba|corniche|corolla|corona|corsair
cortina|corvair|corvette|cosmo|cougar|cressida|cresta|crown|cutlass|dart|dauphine|dedra|delta|dino
diplomat|dolomite|dyane|eagle|elan|eldorado|elite|escort|espada|estafette|europa|eventer|excelsior
fairlady|fairlane|falcon|fiesta|firebird|flaminia|flavia|fleetwood|floride|frogeye|fulvia|galaxie|gamma
gazelle|ghibli|giulia|giulietta|gladiator|goddess|golf|granada|griffith|grifo|hawk|healey|herald|hermes
hornet|hunter|imp|impala|imperial|indy|interceptor|isabella|islero|jarama|javelin|jetta|jupiter|kadett
kapitan|karmann|kestrel|khamsin|kyalami|lambda|landau|laurel|leone|lucerne|magnette|majestic|malibu
mangusta|manta|marina|marlin|marzal|maverick|maxi|merak|mexico|midget|mille miglia|minor|minx|miura
mondial|monjaro|monte carlo|monza|mulsanne|mustang|nova|octavia|olympia|omega|opus|oxford|pacer|pantera
pathfinder|phantom|pinto|polo|popular|prefect|premier|prince|quattroporte|rapide|rapier|rekord|ritmo
riviera|robin|royale|sapphire|scimitar|scirocco|senator|seneca|shadow|silver cloud|silver shadow|silvia
skylark|skyline|snipe|solara|spider|spirit|spitfire|sprite|squire|stag|starlet|stratos|sunny|superminx
swallow|tagora|taunus|tempest|testarossa|thema|thunderbird|tiger|topolino|torana|toronado|traction|turismo
urraco|valiant|vanguard|vedette|velox|ventora|victor|viking|vitesse|viva|vogue|wasp|westminster|wraith
wyvern|zephyr|zephyrus|zodiac
"""


def real(text: str) -> list[str]:
    return [name.strip() for line in text.strip().splitlines() for name in line.split("|")]


def likeness(name: str, names: list[str]) -> float:
    """To the nearest name, 0 to 100: the per cent of letters that need no change."""
    found = process.extractOne(name.casefold(), names, scorer=fuzz.ratio)
    return 0.0 if found is None else found[1]


def test_no_marque_is_or_resembles_a_real_one() -> None:
    names = [*read_catalogue()["make"].unique(), *MISSPELT.values()]
    near = {name: likeness(name, real(REAL_MAKERS)) for name in names}
    assert max(near.values()) < 75, near
    assert likeness("Porche", real(REAL_MAKERS)) > 75


def test_no_model_is_a_real_one() -> None:
    names = read_catalogue()["model"].to_list()
    near = {name: likeness(name, [*real(REAL_CARS), *real(REAL_MAKERS)]) for name in names}
    assert max(near.values()) < 84, {name: value for name, value in near.items() if value >= 84}


def test_no_source_is_named_like_a_maker() -> None:
    for name in (*SOURCES.values(), EXCHANGE):
        assert likeness(name.split()[0], real(REAL_MAKERS)) < 75


def test_catalogue_is_whole() -> None:
    catalogue = read_catalogue()
    assert catalogue.shape == (120, 10)
    assert catalogue["model"].is_unique().all()
    assert catalogue["make"].rle().len() == catalogue["make"].n_unique() == 15
    assert set(catalogue["construction"]) == set(CONSTRUCTIONS)
    assert set(catalogue["origin"]) == {"GB", "DE", "FR", "IT", "SE"}
    assert catalogue.filter(pl.col("first_year") > pl.col("last_year")).is_empty()
    assert catalogue.filter((pl.col("average_price") <= 0) | (pl.col("weight") <= 0)).is_empty()


@pytest.mark.parametrize(("make", "model"), [("Wexcombe", "Sedge"), ("Wexcombe", "Marram")])
def test_two_models_have_weak_points_of_their_own(make: str, model: str) -> None:
    construction = read_catalogue().filter(make=make, model=model)["construction"][0]
    plain = Sheet.open(construction, make=make, model=model)
    own = Sheet.open(construction, make=make, model=model, extensions=data_demo.sheets())
    assert len(own.checks) >= len(plain.checks) + 3
