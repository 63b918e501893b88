"""Sheets of sales as people keep them, drawn with a seed of their own, each with what it truly says.

Written apart from the tables of headings and words that the program knows: what is common in each language was put down
from memory, so that what the program lacks shows. Invented marques only.
"""

# ruff: noqa: E501 - tables of words, a tongue a block

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

import xlsxwriter

SEED: Final = 20_261_128
ROWS: Final = 30
CARS: Final = [
    ("Corvane", "Six", "saloon de luxe"), ("Corvane", "Four", None), ("Wexcombe", "Sedge", "de luxe"),
    ("Wexcombe", "Tern", "mark 2"), ("Lark & Fell", "Heron", None), ("Aubrelle", "Rive", "spéciale"),
]  # fmt: skip
KM_PER_MILE: Final = 1.609344


@dataclass(frozen=True)
class Tongue:
    """How a country writes."""

    name: str
    country: str
    currency: str
    sign: Callable[[str], str]
    group: str
    point: str
    order: str
    months: list[str]
    heads: dict[str, list[str]]
    words: dict[str, list[str]]
    unit: str = "km"
    delimiter: str = ","


def _before(sign: str) -> Callable[[str], str]:
    return lambda figures: f"{sign}{figures}"


def _behind(sign: str) -> Callable[[str], str]:
    return lambda figures: f"{figures} {sign}"


ENGLISH: Final = ["Jan", "Feb", "March", "April", "May", "June", "July", "Aug", "Sept", "Oct", "Nov", "Dec"]
TONGUES: Final = [
    Tongue(
        "british", "GB", "GBP", _before("£"), ",", ".", "d/m/y", ENGLISH,
        {"ref": ["Lot No.", "Lot", "Ref"], "make": ["Make", "Marque", "Manufacturer"], "model": ["Model", "Type"],
         "year": ["Year", "Yr", "Year built"], "date": ["Sale date", "Date", "Date sold"],
         "price": ["Price", "Sold for", "Hammer", "Sale price (£)"], "asking": ["Asking price", "Asking"],
         "odo": ["Mileage", "Odometer", "Miles"], "state": ["Condition", "Cond."], "result": ["Result", "Sold?", "Outcome"],
         "car": ["Car", "Vehicle", "Description"], "notes": ["Notes", "Comments"], "age": ["Age"],
         "estimate": ["Estimate", "Est."], "channel": ["Where sold", "Sold through"], "total": ["Total"]},
        {"project": ["barn find", "project", "needs full restoration"], "average": ["good", "usable", "tidy"],
         "top condition": ["concours", "excellent", "as new"], "sold": ["sold", "Sold"], "unsold": ["not sold", "unsold"],
         "private": ["private", "private seller"], "dealer": ["dealer", "trade"], "auction": ["auction"]},
        unit="miles",
    ),
    Tongue(
        "american", "US", "USD", _before("$"), ",", ".", "m/d/y", ENGLISH,
        {"ref": ["Lot #", "Item no."], "make": ["Make"], "model": ["Model"], "year": ["Model year", "Year"],
         "date": ["Date", "Sale date"], "price": ["Price paid", "Sold price (USD)", "Price"], "asking": ["Asking price"],
         "odo": ["Odometer", "Mileage (miles)"], "state": ["Condition"], "result": ["Status", "Sale status"],
         "car": ["Vehicle", "Year make model"], "notes": ["Remarks"], "age": ["Age (years)"],
         "estimate": ["Estimate"], "channel": ["Seller type"], "total": ["TOTAL"]},
        {"project": ["project car", "not running"], "average": ["driver", "runs and drives", "fair"],
         "top condition": ["show winner", "mint"], "sold": ["sold"], "unsold": ["not sold", "no sale"],
         "private": ["private seller"], "dealer": ["dealer"], "auction": ["auction"]},
        unit="miles",
    ),
    Tongue(
        "german", "DE", "EUR", _behind("€"), ".", ",", "d.m.y",
        ["Jan.", "Februar", "März", "April", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Oktober", "Nov.", "Dez."],
        {"ref": ["Los-Nr.", "Lfd. Nr.", "Nr."], "make": ["Marke", "Hersteller"], "model": ["Modell", "Typ"],
         "year": ["Baujahr", "Bj.", "EZ"], "date": ["Datum", "Verkaufsdatum", "verkauft am"],
         "price": ["Preis", "Verkaufspreis", "Zuschlag", "Preis in €"], "asking": ["Angebotspreis", "Preisvorstellung"],
         "odo": ["Kilometerstand", "km-Stand", "Laufleistung"], "state": ["Zustand"], "result": ["Ergebnis", "Verkauft"],
         "car": ["Fahrzeug", "Fahrzeugbezeichnung"], "notes": ["Bemerkungen", "Notizen"], "age": ["Alter"],
         "estimate": ["Schätzpreis", "Schätzung"], "channel": ["Verkäufer", "Anbieter"], "total": ["Summe", "Gesamt"]},
        {"project": ["Scheunenfund", "Restaurationsobjekt"], "average": ["gut", "fahrbereit", "gepflegt"],
         "top condition": ["Topzustand", "vollrestauriert"], "sold": ["verkauft"], "unsold": ["nicht verkauft"],
         "private": ["privat", "von privat"], "dealer": ["Händler"], "auction": ["Auktion", "Versteigerung"]},
        delimiter=";",
    ),
    Tongue(
        "swiss", "CH", "CHF", _before("CHF "), "'", ".", "d.m.y",
        ["Jan.", "Feb.", "März", "April", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Okt.", "Nov.", "Dez."],
        {"ref": ["Nr.", "Inserat-Nr."], "make": ["Marke"], "model": ["Modell"], "year": ["Jahrgang", "1. Inv."],
         "date": ["Datum"], "price": ["Verkaufspreis", "Preis CHF"], "asking": ["Angebotspreis"],
         "odo": ["Kilometer", "km"], "state": ["Zustand"], "result": ["Status"], "car": ["Auto", "Fahrzeug"],
         "notes": ["Bemerkung"], "age": ["Alter (Jahre)"], "estimate": ["Schätzwert"], "channel": ["Anbieter"],
         "total": ["Total"]},
        {"project": ["Projekt", "restaurierungsbedürftig"], "average": ["ordentlich", "guter Zustand"],
         "top condition": ["wie neu", "neuwertig"], "sold": ["verkauft", "ja"], "unsold": ["unverkauft", "nein"],
         "private": ["Privat"], "dealer": ["Händler"], "auction": ["Auktion"]},
        delimiter=";",
    ),
    Tongue(
        "french", "FR", "EUR", _behind("€"), "\u202f", ",", "d/m/y",
        ["janv.", "février", "mars", "avril", "mai", "juin", "juillet", "août", "sept.", "octobre", "nov.", "déc."],
        {"ref": ["N° de lot", "Lot n°", "Réf."], "make": ["Marque", "Constructeur"], "model": ["Modèle", "Type"],
         "year": ["Année", "Millésime"], "date": ["Date de vente", "Date"],
         "price": ["Prix de vente", "Prix", "Adjudication"], "asking": ["Prix demandé"], "odo": ["Kilométrage", "Compteur"],
         "state": ["État"], "result": ["Résultat", "Statut"], "car": ["Véhicule", "Voiture"], "notes": ["Remarques"],
         "age": ["Âge"], "estimate": ["Estimation"], "channel": ["Vendeur"], "total": ["Total"]},
        {"project": ["sortie de grange", "à restaurer"], "average": ["bon état", "état moyen", "correct"],
         "top condition": ["comme neuve", "état concours"], "sold": ["vendu", "adjugé"], "unsold": ["invendu", "non vendu"],
         "private": ["particulier"], "dealer": ["professionnel", "marchand"], "auction": ["enchères"]},
        delimiter=";",
    ),
    Tongue(
        "italian", "IT", "EUR", _before("€ "), ".", ",", "d/m/y",
        ["gen", "febbraio", "marzo", "aprile", "maggio", "giugno", "luglio", "agosto", "set", "ottobre", "nov", "dic"],
        {"ref": ["Lotto", "N. lotto"], "make": ["Marca", "Casa"], "model": ["Modello"], "year": ["Anno"],
         "date": ["Data vendita", "Data"], "price": ["Prezzo", "Prezzo di vendita", "Aggiudicazione"],
         "asking": ["Prezzo richiesto"], "odo": ["Chilometri", "Km percorsi"], "state": ["Condizioni", "Stato"],
         "result": ["Esito"], "car": ["Vettura", "Veicolo"], "notes": ["Note", "Annotazioni"], "age": ["Età"],
         "estimate": ["Stima"], "channel": ["Venditore"], "total": ["Totale"]},
        {"project": ["da restaurare"], "average": ["buono", "buone condizioni", "discreto"],
         "top condition": ["perfetto", "come nuova"], "sold": ["venduto", "aggiudicato"], "unsold": ["invenduto"],
         "private": ["privato"], "dealer": ["commerciante", "concessionario"], "auction": ["asta"]},
        delimiter=";",
    ),
    Tongue(
        "spanish", "ES", "EUR", _behind("€"), ".", ",", "d/m/y",
        ["ene", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre", "nov", "dic"],
        {"ref": ["Lote", "N.º de lote"], "make": ["Marca"], "model": ["Modelo"], "year": ["Año"],
         "date": ["Fecha", "Fecha de venta"], "price": ["Precio", "Precio de venta", "Remate"],
         "asking": ["Precio pedido"], "odo": ["Kilómetros", "Kilometraje"], "state": ["Estado"], "result": ["Resultado"],
         "car": ["Coche", "Vehículo"], "notes": ["Observaciones"], "age": ["Edad"], "estimate": ["Estimación"],
         "channel": ["Vendedor"], "total": ["Suma", "Total"]},
        {"project": ["para restaurar", "a restaurar"], "average": ["buen estado", "bueno", "normal"],
         "top condition": ["como nuevo", "impecable"], "sold": ["vendido", "adjudicado"], "unsold": ["no vendido"],
         "private": ["particular"], "dealer": ["profesional", "concesionario"], "auction": ["subasta"]},
        delimiter=";",
    ),
    Tongue(
        "dutch", "NL", "EUR", _before("€ "), ".", ",", "d-m-y",
        ["jan", "februari", "maart", "april", "mei", "juni", "juli", "aug", "sept", "oktober", "nov", "dec"],
        {"ref": ["Kavel", "Kavelnummer"], "make": ["Merk"], "model": ["Model", "Type"], "year": ["Bouwjaar"],
         "date": ["Datum", "Verkoopdatum"], "price": ["Verkoopprijs", "Prijs", "Hamerprijs"], "asking": ["Vraagprijs"],
         "odo": ["Kilometerstand", "Km-stand"], "state": ["Staat", "Conditie"], "result": ["Resultaat"],
         "car": ["Auto", "Voertuig"], "notes": ["Opmerkingen"], "age": ["Leeftijd"], "estimate": ["Taxatie"],
         "channel": ["Verkoper"], "total": ["Totaal"]},
        {"project": ["opknapper", "schuurvondst"], "average": ["goed", "rijdend", "redelijk"],
         "top condition": ["in topstaat", "als nieuw"], "sold": ["verkocht"], "unsold": ["niet verkocht", "onverkocht"],
         "private": ["particulier"], "dealer": ["handelaar", "autobedrijf"], "auction": ["veiling"]},
        delimiter=";",
    ),
    Tongue(
        "swedish", "SE", "SEK", _behind("kr"), " ", ",", "y-m-d",
        ["jan", "februari", "mars", "april", "maj", "juni", "juli", "aug", "sept", "oktober", "nov", "dec"],
        {"ref": ["Objekt nr", "Nr"], "make": ["Märke", "Fabrikat"], "model": ["Modell"], "year": ["Årsmodell", "År"],
         "date": ["Datum", "Försäljningsdatum"], "price": ["Pris", "Slutpris", "Försäljningspris"],
         "asking": ["Begärt pris"], "odo": ["Mätarställning", "Mätarställning (km)"], "state": ["Skick"],
         "result": ["Resultat", "Utfall"], "car": ["Bil", "Fordon"], "notes": ["Anmärkning", "Kommentar"],
         "age": ["Ålder"], "estimate": ["Värdering"], "channel": ["Säljare"], "total": ["Summa"]},
        {"project": ["renoveringsobjekt", "ladfynd"], "average": ["bruksskick", "bra skick", "normalskick"],
         "top condition": ["nyskick", "toppskick"], "sold": ["såld", "ja"], "unsold": ["osåld", "ej såld"],
         "private": ["privatperson"], "dealer": ["bilhandlare", "handlare"], "auction": ["auktion"]},
        delimiter=";",
    ),
]  # fmt: skip

OURS: Final = {
    "ref": "source_ref", "make": "make", "model": "model", "year": "year", "age": "year", "date": "event_date",
    "price": "amount", "asking": "amount", "odo": "odometer_km", "state": "condition_band", "result": "outcome",
    "car": "car", "notes": "notes", "estimate": "low_estimate", "channel": "channel",
}  # fmt: skip
ORDERS: Final = {
    "d/m/y": "day-month-year",
    "d.m.y": "day-month-year",
    "d-m-y": "day-month-year",
    "m/d/y": "month-day-year",
}


@dataclass
class Sheet:
    """A sheet, what its columns are, what holds for all of it, and what each row says by its number."""

    name: str
    style: str
    tongue: Tongue
    headings: dict[str, str] = field(default_factory=dict)
    """Its heading = our column."""
    answers: dict[str, str] = field(default_factory=dict)
    """What a person who knows the sheet answers."""
    truth: dict[str, dict[str, Any]] = field(default_factory=dict)
    rows: list[list[str]] = field(default_factory=list)
    extra: int = 0
    """Rows that are no records."""

    def write(self, folder: Path) -> Path:
        """The sheet as a file."""
        if self.style in ("plain", "adverts"):
            path = folder / f"{self.name}.csv"
            delimiter = self.tongue.delimiter if self.style == "plain" else "\t"
            lines = [delimiter.join(_quoted(cell, delimiter) for cell in row) for row in self.rows]
            path.write_text("\n".join(lines) + "\n", encoding="utf-8")
            return path
        path = folder / f"{self.name}.xlsx"
        with xlsxwriter.Workbook(path) as book:
            page = book.add_worksheet("2019")
            for at, row in enumerate(self.rows):
                for place, cell in enumerate(row):
                    page.write_string(at, place, cell) if cell else None
        return path


def _quoted(cell: str, delimiter: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell


def sheets() -> list[Sheet]:
    """Forty-five sheets: each of nine tongues in each of five styles."""
    draw = random.Random(SEED)  # noqa: S311 - a seed is the point
    styles = {
        "plain": _plain,
        "drawn": _drawn,
        "whole cars": _whole_cars,
        "results": _results,
        "adverts": _adverts,
    }
    return [make(Sheet(f"{tongue.name}-{style.replace(' ', '-')}", style, tongue), draw)
            for tongue in TONGUES for style, make in styles.items()]  # fmt: skip


def _figures(tongue: Tongue, amount: int, draw: random.Random, cents: bool = False) -> str:
    grouped = (
        f"{amount:,}".replace(",", tongue.group) if amount > 999 and draw.random() < 0.8 else str(amount)
    )
    return f"{grouped}{tongue.point}00" if cents else grouped


def _day(tongue: Tongue, day: date, draw: random.Random) -> str:
    long = draw.random()
    if long < 0.15:
        joint = {"german": ". ", "swiss": ". "}.get(tongue.name, " ")
        return f"{day.day}{joint}{tongue.months[day.month - 1]} {day.year}"
    if long < 0.2 and tongue.name == "british":
        return (
            f"{day.day}th {tongue.months[day.month - 1]} {day.year}"
            if 4 <= day.day <= 20
            else f"{day:%d/%m/%Y}"
        )
    kinds = {
        "d/m/y": "%d/%m/%Y",
        "m/d/y": "%m/%d/%Y",
        "d.m.y": "%d.%m.%Y",
        "d-m-y": "%d-%m-%Y",
        "y-m-d": "%Y-%m-%d",
    }
    return day.strftime(kinds[tongue.order])


def _car(draw: random.Random) -> dict[str, Any]:
    make, model, variant = draw.choice(CARS)
    return {
        "make": make, "model": model, "variant": variant, "year": draw.randint(1948, 1979),
        "date": date(2015, 1, 5) + timedelta(days=draw.randrange(3600)),
        "amount": draw.choice([draw.randrange(900, 9900, 50), draw.randrange(10_000, 48_000, 250)]),
        "km": draw.randrange(8_000, 190_000, 1000), "band": draw.choice(["project", "average", "top condition"]),
        "outcome": "sold", "channel": draw.choice(["private", "dealer", "auction"]),
    }  # fmt: skip


def _odometer(tongue: Tongue, car: dict[str, Any], draw: random.Random, *, bare: bool = False) -> str:
    kind = draw.random()
    if kind < 0.12:
        car["km"] = None
        return draw.choice(["", "?", "n/a", "-", "unknown", "TMU"])
    count = car["km"] if tongue.unit == "km" else round(car["km"] / KM_PER_MILE / 100) * 100
    car["km"] = count if tongue.unit == "km" else count * KM_PER_MILE
    figures = _figures(tongue, count, draw)
    if bare or kind < 0.5:
        return figures
    if kind < 0.6 and count % 1000 == 0:
        return f"{count // 1000}k"
    return f"{figures} {'km' if tongue.unit == 'km' else draw.choice(['miles', 'mls', 'mi'])}"


def _year(car: dict[str, Any], draw: random.Random) -> str:
    year = car["year"]
    kinds = [str(year)] * 8 + [
        f"'{year % 100:02d}",
        f"c.{year}",
        f"{year}?",
        f"{year} (reg {year + 1})",
        f"{year}/{(year + 1) % 10}",
    ]
    return draw.choice(kinds)


def _price(tongue: Tongue, car: dict[str, Any], draw: random.Random, *, signed: float = 0.5) -> str:
    kind = draw.random()
    figures = _figures(tongue, car["amount"], draw, cents=draw.random() < 0.1)
    if kind < signed:
        return tongue.sign(figures)
    return figures


def _headed(sheet: Sheet, keys: list[str], draw: random.Random) -> list[str]:
    row: list[str] = []
    for key in keys:
        choices = [head for head in sheet.tongue.heads[key] if head not in row]
        row.append(draw.choice(choices))
        sheet.headings[row[-1]] = OURS[key]
    return row


def _state(tongue: Tongue, car: dict[str, Any], draw: random.Random) -> str:
    if draw.random() < 0.1:
        car["band"] = None
        return draw.choice(["", "?", "see notes"])
    return draw.choice(tongue.words[car["band"]])


def _answers(sheet: Sheet, **said: str) -> None:
    order = ORDERS.get(sheet.tongue.order)
    sheet.answers = {
        "currency": sheet.tongue.currency,
        "country": sheet.tongue.country,
        "odometer_km": sheet.tongue.unit,
    }
    sheet.answers |= ({"order": order} if order else {}) | said


def _plain(sheet: Sheet, draw: random.Random) -> Sheet:
    """One header, records below it, everything in its own column."""
    keys = ["ref", "make", "model", "year", "date", "price", "odo", "state", "channel", "notes"]
    sheet.rows.append(_headed(sheet, keys, draw))
    _answers(sheet, outcome="sold", price_basis="all-in")
    for number in range(1, ROWS + 1):
        car, tongue = _car(draw), sheet.tongue
        sheet.rows.append([
            str(number), car["make"], car["model"], _year(car, draw), _day(tongue, car["date"], draw),
            _price(tongue, car, draw), _odometer(tongue, car, draw), _state(tongue, car, draw),
            draw.choice(tongue.words[car["channel"]]), draw.choice(["", "blue", "one owner"]),
        ])  # fmt: skip
        sheet.truth[str(number)] = car
    return sheet


def _drawn(sheet: Sheet, draw: random.Random) -> Sheet:
    """A title, a blank row and column, units under the header, the header again half-way, a total, a remark."""
    keys = ["ref", "make", "model", "year", "date", "price", "odo", "state"]
    head = _headed(sheet, keys, draw)
    tongue = sheet.tongue
    _answers(sheet, outcome="sold", price_basis="all-in", channel="private")
    head.insert(1, "")
    units = [
        "",
        "",
        "",
        "",
        "",
        "",
        {"GBP": "£", "EUR": "€", "SEK": "kr", "USD": "$", "CHF": "CHF"}[tongue.currency],
    ]
    units += [tongue.unit, ""]
    sheet.rows += [["Club 2019"], [], head]
    if draw.random() < 0.6:
        sheet.rows.append(units)
        sheet.headings = {
            f"{name} ({unit})" if unit else name: ours
            for (name, ours), unit in zip(sheet.headings.items(), [units[0], *units[2:]], strict=True)
        }
    total = 0
    for number in range(1, ROWS + 1):
        car = _car(draw)
        if number == ROWS // 2:
            sheet.rows.append(list(head))
        bare = _odometer(tongue, car, draw)
        sheet.rows.append([
            str(number), "", car["make"], car["model"], str(car["year"]), _day(tongue, car["date"], draw),
            _price(tongue, car, draw, signed=0.2), bare, _state(tongue, car, draw),
        ])  # fmt: skip
        total += car["amount"]
        sheet.truth[str(number)] = car
    sheet.rows.append([draw.choice(tongue.heads["total"]), "", "", "", "", "", str(total)])
    sheet.rows += [[], ["All prices as told at the meeting"]]
    return sheet


def _whole_cars(sheet: Sheet, draw: random.Random) -> Sheet:
    """Year, make, model and variant in one cell."""
    keys = ["ref", "date", "car", "price", "odo", "state"]
    sheet.rows.append(_headed(sheet, keys, draw))
    _answers(sheet, outcome="sold", price_basis="all-in", channel="private")
    tongue = sheet.tongue
    for number in range(1, ROWS + 1):
        car = _car(draw)
        named = " ".join(filter(None, [car["make"], car["model"], car["variant"]]))
        year = draw.choice([str(car["year"])] * 4 + [f"c.{car['year']}", f"'{car['year'] % 100:02d}"])
        whole = draw.choice(
            [f"{year} {named}", f"{year} {named}", f"{named}, {year}", f"{named} ({car['year']})"]
        )
        sheet.rows.append([
            str(number), _day(tongue, car["date"], draw), whole, _price(tongue, car, draw),
            _odometer(tongue, car, draw), _state(tongue, car, draw),
        ])  # fmt: skip
        sheet.truth[str(number)] = car
    return sheet


def _results(sheet: Sheet, draw: random.Random) -> Sheet:
    """An auction's results: estimates as ranges, lots that were not sold, bids."""
    keys = ["ref", "make", "model", "year", "date", "estimate", "price", "result"]
    sheet.rows.append(_headed(sheet, keys, draw))
    _answers(sheet, outcome="sold", price_basis="all-in", channel="auction")
    tongue = sheet.tongue
    for number in range(1, ROWS + 1):
        car = _car(draw)
        low, high = car["amount"] // 1000 * 1000 or 500, car["amount"] // 1000 * 1000 + 2000
        car |= {"low": low, "high": high, "channel": "auction"}
        parts = _figures(tongue, low, draw), _figures(tongue, high, draw)
        estimate = draw.choice(
            [f"{parts[0]} - {parts[1]}", f"{parts[0]}–{parts[1]}", tongue.sign(f"{parts[0]}-{parts[1]}"), ""]
        )
        if not estimate:
            car |= {"low": None, "high": None}
        price = _price(tongue, car, draw)
        if draw.random() < 0.25:
            car |= {"outcome": "unsold", "bid": None}
            price = "" if draw.random() < 0.5 else draw.choice(tongue.words["unsold"])
            if tongue.name in ("british", "american") and draw.random() < 0.5:
                price, car["bid"] = (
                    f"bid to {tongue.sign(_figures(tongue, car['amount'], draw))}",
                    car["amount"],
                )
            car["amount"] = None
        word = draw.choice(tongue.words[car["outcome"]])
        sheet.rows.append([str(number), car["make"], car["model"], _year(car, draw), _day(tongue, car["date"], draw),
                           estimate, price, word])  # fmt: skip
        sheet.truth[str(number)] = car
    return sheet


def _adverts(sheet: Sheet, draw: random.Random) -> Sheet:
    """Adverts noted down: asking prices with their little words, ages, months, foreign currencies."""
    keys = ["ref", "make", "model", "age", "date", "asking", "odo", "state", "notes"]
    sheet.rows.append(_headed(sheet, keys, draw))
    _answers(sheet, outcome="asking", price_basis="asking", channel="private")
    tongue = sheet.tongue
    for number in range(1, ROWS + 1):
        car = _car(draw) | {"outcome": "asking", "currency": tongue.currency}
        price = _price(tongue, car, draw, signed=0.8)
        kind = draw.random()
        if kind < 0.1 and tongue.name != "american":
            other, sign = draw.choice([("GBP", "£"), ("EUR", "€"), ("USD", "USD ")])
            if other != tongue.currency:
                price, car["currency"] = f"{sign}{_figures(tongue, car['amount'], draw)}", other
        elif kind < 0.2 and car["amount"] % 1000 == 0:
            price = tongue.sign(f"{car['amount'] // 1000}k")
        elif kind < 0.35:
            price += {"british": " ono", "german": " VB", "swiss": " VB", "american": " OBO"}.get(
                tongue.name, ""
            )
        elif kind < 0.4 and tongue.name in ("german", "swiss"):
            price = f"VB {price}"
        elif kind < 0.45:
            price = f"c. {price}" if tongue.name in ("british", "american") else f"ca. {price}"
        age = car["date"].year - car["year"]
        when = _day(tongue, car["date"], draw)
        if draw.random() < 0.1:
            when, car["span"] = f"{tongue.months[car['date'].month - 1]} {car['date'].year}", "month"
        sheet.rows.append([
            str(number), car["make"], car["model"], str(age), when, price, _odometer(tongue, car, draw),
            _state(tongue, car, draw), draw.choice(["", "red", "garage; dry"]),
        ])  # fmt: skip
        sheet.truth[str(number)] = car
    return sheet
