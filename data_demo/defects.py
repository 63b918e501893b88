"""Rows that break a rule of the record contract: for every rule, what a source writes that breaks it."""

from datetime import date
from typing import Final

Defects = dict[str, dict[str, object]]
"""Name of the rule broken, and the values, by column of the source, that break it."""

REGISTER_DEFECTS: Final[Defects] = {
    "make_missing": {"Make": None},
    "model_missing": {"Model": ""},
    "year_missing": {"Year": None},
    "year_unreadable": {"Year": "mid sixties"},
    "year_out_of_range": {"Year": "1066"},
    "condition_band_unknown": {"Condition": "lovely", "Points /100": None},
    "condition_score_unreadable": {"Condition": None, "Points /100": "high"},
    "condition_score_out_of_range": {"Condition": None, "Points /100": "140"},
    "condition_score_outside_band": {"Condition": "barn find", "Points /100": "91.5"},
    "odometer_km_unreadable": {"Mileage": "genuine"},
    "odometer_negative": {"Mileage": "-12000"},
    "odometer_absurd": {"Mileage": "9000000"},
    "drive_side_unknown": {"Drive": "middle"},
    "matching_numbers_unknown": {"Matching nos.": "hoped"},
    "history_file_unreadable": {"History": "perhaps"},
    "channel_missing": {"Through": None},
    "channel_unknown": {"Through": "raffle"},
    "country_missing": {"Country": None},
    "country_unknown": {"Country": "ZZ"},
    "outcome_missing": {"Result": None},
    "outcome_unknown": {"Result": "stolen"},
    "event_date_missing": {"Date": None},
    "event_date_unreadable": {"Date": "31/02/2024"},
    "event_date_in_future": {"Date": "14/03/2031"},
    "event_date_too_early": {"Date": "02/05/1931", "Year": "1931"},
    "listed_on_unreadable": {"Advertised": "spring"},
    "listed_after_event": {"Date": "01/06/2019", "Advertised": "01/09/2019"},
    "amount_unreadable": {"Price": "on application", "Premium": None},
    "amount_not_positive": {"Price": "-£4,250", "Premium": None},
    "amount_absurd": {"Price": "£987,654,321", "Premium": None},
    "sold_without_amount": {"Price": None, "Premium": None},
    "asking_without_amount": {"Result": "for sale", "Price is": "asked", "Price": None, "Premium": None},
    "asking_outcome_needs_asking_basis": {"Result": "for sale", "Price is": "all in", "Premium": None},
    "asking_basis_needs_asking_outcome": {"Result": "sold", "Price is": "asked", "Premium": None},
    "price_basis_missing": {"Price is": None},
    "price_basis_unknown": {"Price is": "roughly"},
    "premium_unreadable": {"Premium": "usual"},
    "premium_negative": {"Premium": "-£120"},
    "premium_above_amount": {"Price": "£2,000", "Premium": "£20,000"},
    "low_estimate_unreadable": {"Est. low": "modest"},
    "high_estimate_unreadable": {"Est. high": "ambitious"},
    "reserve_unreadable": {"Reserve": "secret"},
    "highest_bid_unreadable": {"Top bid": "not enough"},
    "estimate_not_positive": {"Est. low": "£0", "Est. high": "£4,000"},
    "estimates_reversed": {"Est. low": "£9,000", "Est. high": "£6,000"},
    "reserve_not_positive": {"Reserve": "£0"},
    "highest_bid_not_positive": {"Top bid": "£0"},
    "text_too_long": {"Version": "very " * 120 + "long"},
}
WORKBOOK_DEFECTS: Final[Defects] = {
    "event_date_in_future": {"Datum": date(2029, 5, 5)},
    "amount_not_positive": {"Belopp": -45000.0, "Provision": None},
    "currency_missing": {"Valuta": None},
    "condition_score_out_of_range": {"Skick": None, "Poäng": 250.0},
}

EXCHANGE_DEFECTS: Final[Defects] = {
    "currency_unknown": {"currency": "ECU"},
    "option_unknown": {"extras": ["ejector_seat"]},
    "option_repeated": {"extras": ["overdrive", "overdrive"]},
    "country_unknown": {"country": "XX"},
    "year_out_of_range": {"model_year": 2190},
}
