"""The schema.org vocabulary's own example of a car on offer, as a page that someone saved.

Source: schemaorg/schemaorg, data/sdo-automobile-examples.txt (read), the JSON of its only example, with the
name and the description left out. It offers by ``makesOffer`` and prices by ``priceSpecification``.
"""

from pathlib import Path

from pricing.intake.listings import read_listings

EXAMPLE = """
{
  "@context": "http://schema.org",
  "@type": "Person",
  "name" : "Brent",
  "makesOffer" : {
    "@type" :"Offer",
    "priceSpecification" : {
      "@type" : "UnitPriceSpecification",
      "priceCurrency" : "USD",
      "price" : "18000" },
    "itemOffered" : {
      "@type" : "Car",
      "image" : "car.png",
      "color" : "Black",
      "modelDate" : "2009",
      "transmission" : "6 speed Sports Automatic Dual Clutch",
      "VIN" : "WVWZZZ1KZ9U######",
      "gears" : "6",
      "bodyType" : "Hatchback",
      "driveWheelConfiguration" : "http://schema.org/FWD",
      "enginePower" : {
        "@type" : "QuantitativeValue",
        "value" : "147",
        "unitCode" : "KWT",
        "valueReference" : {
          "@type" : "QuantitativeValue",
          "name" : "referenceRPM",
          "value" : "5100",
          "unitCode" : "RPM" }
      },
      "mileageFromOdometer" : {
        "@type" : "QuantitativeValue",
        "value" : "53100",
        "unitCode" : "KMT"
      }
    }
  }
}
"""


def test_the_vocabulary_s_own_example(tmp_path: Path) -> None:
    page = tmp_path / "car.html"
    page.write_text(f'<html><script type="application/ld+json">{EXAMPLE}</script></html>')
    (row,) = read_listings(page).rows(named=True)
    wanted = {
        "year": "2009", "chassis_number": "WVWZZZ1KZ9U######", "body_style": "Hatchback",
        "odometer_km": "53100.0", "amount": "18000", "currency": "USD", "channel": "private",
        "outcome": "asking", "price_basis": "asking", "make": None,
    }  # fmt: skip
    assert {name: row[name] for name in wanted} == wanted


def test_unit_codes_are_those_of_unece_recommendation_20(tmp_path: Path) -> None:
    """KMT is the kilometre and SMI the statute mile of 1609.344 m (UN/ECE Recommendation 20, from memory)."""
    page = tmp_path / "car.html"
    miles = EXAMPLE.replace("53100", "1000").replace("KMT", "SMI")
    page.write_text(f'<html><script type="application/ld+json">{miles}</script></html>')
    assert read_listings(page)["odometer_km"].item() == "1609.3"
