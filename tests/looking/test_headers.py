"""Headers as people write them in several languages: a field is stated only where the header's own words say it.

Every header is invented, and so is what its writer meant by it. `STATED` has what a proposal must state, `OPEN` what it
may only ask about, `NEITHER` what it must leave alone; whatever a header does not say is in none of the stated fields.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from sitegen import registry
from sitegen.cli import main
from sitegen.looking import propose, seen

STREAMS = {each.name: each for each in registry.STREAMS}
CELLS = {
    "number": ("81.5", "80.5", "83.5"),
    "whole": ("2", "1", "3"),
    "date": ("2027-01-14", "2027-01-15", "2027-01-16"),
    "text": ("A 12", "A 13", "B 7"),
}

STATED = {
    "runlog": {
        "Drehzahl [1/min]": "speed", "Motordrehzahl [1/min]": "speed", "Régime moteur [1/min]": "speed", "n": "speed",
        "Régimen del motor [rpm]": "speed", "Engine speed (rpm)": "speed",
        "Drehmoment [Nm]": "torque", "Couple [N m]": "torque", "Couple moteur": "torque", "Par motor [N m]": "torque",
        "T_Öl [°C]": "oil_temperature", "Öltemperatur [°C]": "oil_temperature", "T Oel": "oil_temperature",
        "Temp. Öl": "oil_temperature", "Température d'huile [°C]": "oil_temperature", "Oil [degC]": "oil_temperature",
        "Temperatura del aceite [°C]": "oil_temperature", "oilTemp [°F]": "oil_temperature",
        "Kühlmitteltemperatur [°C]": "coolant_temperature", "T_Kühlwasser [°C]": "coolant_temperature",
        "Temperatura del refrigerante [°C]": "coolant_temperature",
        "p_Kurbelgehäuse [mbar]": "crankcase_pressure", "Kurbelgehäusedruck [mbar]": "crankcase_pressure",
        "Pression carter [mbar]": "crankcase_pressure", "Presión del cárter [mbar]": "crankcase_pressure",
        "Öldruck [bar]": "oil_pressure", "Pression d'huile [bar]": "oil_pressure", "p oil [bar]": "oil_pressure",
        "Presión de aceite [bar]": "oil_pressure",
        "Umgebungsdruck [mbar]": "ambient_pressure", "Pression ambiante [hPa]": "ambient_pressure",
        "Luftdruck [hPa]": "ambient_pressure", "Barometer [kPa]": "ambient_pressure",
        "Blow-by [l/min]": "blowby", "Débit blow-by [L/min]": "blowby", "Caudal de blow-by [L/min]": "blowby",
        "Abgastemperatur 2 [°C]": "exhaust_temperature_2", "T exh 3 [°C]": "exhaust_temperature_3",
        "Température échappement 1 [°C]": "exhaust_temperature_1", "Blow-by [°C]": "blowby_temperature",
    },
    "leakdown": {
        "Zylinder": "cylinder", "Zyl.": "cylinder", "Zyl. Nr.": "cylinder", "Cylindre": "cylinder",
        "Cilindro": "cylinder", "Motor": "engine", "Speisedruck [bar]": "supply", "Verlust [%]": "percent",
        "Pression d'alimentation [bar]": "supply", "Presión del cilindro [bar]": "pressure", "Fuite [%]": "percent",
        "Umgebungsdruck [hPa]": "ambient", "Raumtemperatur [°C]": "air_temperature", "Room [°C]": "air_temperature",
        "Datum": "date", "Fecha": "date", "Bemerkung": "remark", "Observaciones": "remark", "Wiederholung": "repeat",
    },
    "oil": {
        "V100 [mm2/s]": "viscosity_100", "V 40 [cSt]": "viscosity_40", "Viskosität 100 °C [mm2/s]": "viscosity_100",
        "Viscosity at 100 °C [cSt]": "viscosity_100", "V [mg/kg]": "V", "Fe [ppm]": "Fe", "Iron [ppm]": "Fe",
        "Eisen [mg/kg]": "Fe", "Cuivre [mg/kg]": "Cu", "Plomo [ppm]": "Pb", "Betriebsstunden [h]": "hours",
        "Probe": "sample", "Échantillon": "sample",
    },
    "buildsheet": {"Masse [g]": "mass", "Gewicht [g]": "mass", "Bohrung [mm]": "bore",
                   "Tangentialkraft [N]": "tension"},
    "pulls": {
        "Drehzahl [1/min]": "speed", "Drehmoment [Nm]": "torque", "Torque (lb-ft)": "torque",
        "Luftdruck [hPa]": "barometer", "Baro (inHg)": "barometer", "Ansauglufttemperatur [°C]": "inlet",
        "Air inlet (°F)": "inlet", "rel. Feuchte [%]": "humidity", "RH (%)": "humidity", "Lauf": "pull",
        "Ölsorte": "variant", "Massenträgheit [kg m²]": "inertia", "Hochlauf [rpm/s]": "ramp", "Motor": "engine",
    },
}  # fmt: skip
WHOLE = {"repeat", "cylinder", "pull"}

OPEN = {
    "runlog": {
        "Öltemperatur Wanne [°C]": "oil_temperature", "Oil temperature after cooler [°C]": "oil_temperature",
        "Blow-by Temp soll [°C]": "blowby_temperature", "Oil": "oil_temperature", "Crankcase": "crankcase_pressure",
        "Moment obrotowy [Nm]": "torque", "Water temperature [°C]": "coolant_temperature",
        "Torque demand [N m]": "torque", "Load": "torque",
    },
    "leakdown": {
        "Note": "remark", "Air": "air_temperature", "Supply gauge no 2 [bar]": "supply", "Crankcase": "to_crankcase",
    },
    "oil": {"V100": "viscosity_100"},
    "inspection": {"Note": "grade"},
}  # fmt: skip

NEITHER = {
    "pulls": ("Torque [kJ]", "Drehmoment [kWh]"),
    "runlog": (
        "Temp. Raum [°C]", "Temp. Halle [°C]", "Temp. salle [°C]", "Temperatura de la sala [°C]", "Speisedruck [bar]",
        "Kraftstofftemperatur soll [°C]", "T 7 [°C]", "p 3 [bar]", "Druck Bremse [bar]", "Pression air comprimé [bar]",
        "Temp. [°C]", "Leistung [kW]", "Lambda", "Feuchte [%]", "Room temperature [°C]",
    ),
    "leakdown": ("Drehzahl [1/min]", "Öltemperatur [°C]", "Stellung", "Lauf"),
    "oil": ("TBN", "PQ", "Temp. [°C]", "Prüfer"),
    "buildsheet": ("Masse Pleuel vorn [g]", "Rz [um]"),
}  # fmt: skip


def proposed(stream: str, header: str, tmp_path: Path) -> tuple[dict[str, Any], propose.Proposal]:
    """What a proposal says of fields or channels, of a table with this header beside a few others."""
    fields = {each.name: each for each in STREAMS[stream].fields}
    meant = STATED.get(stream, {}).get(header, "")
    kind = fields[meant].kind if meant in fields else "number"
    what = "date" if kind == "date" else "text" if kind in {"text", "id"} else "whole" if meant in WHOLE else "number"
    first = "Time [s]" if stream == "runlog" else "Lfd"
    path = tmp_path / "table.csv"
    rows = zip(("0", "1", "2"), CELLS[what], strict=True)
    path.write_text(f"{first};{header}\n" + "".join(f"{a};{b}\n" for a, b in rows), encoding="utf-8")
    found = seen.look(path, "table.csv")
    assert found.refused == ()
    made = (
        propose.table(found, stream, STREAMS[stream].fields, None, "table.csv")
        if fields
        else propose.log(found, None, "table.csv")
    )
    entry = yaml.safe_load(made.text())[0]
    return (entry.get("columns") or entry.get("channels") or {}), made


def stated(said: dict[str, Any]) -> set[str]:
    """Fields that are given a column."""
    return {name for name, column in said.items() if (column["header"] if isinstance(column, dict) else column) != "?"}


@pytest.mark.parametrize(("stream", "header"), [(s, h) for s, headers in STATED.items() for h in headers])
def test_what_a_header_says_is_stated(stream: str, header: str, tmp_path: Path) -> None:
    said, _ = proposed(stream, header, tmp_path)
    assert stated(said) == {STATED[stream][header]}


@pytest.mark.parametrize(("stream", "header"), [(s, h) for s, headers in OPEN.items() for h in headers])
def test_what_is_only_likely_is_asked_with_the_column_named(stream: str, header: str, tmp_path: Path) -> None:
    said, made = proposed(stream, header, tmp_path)
    assert stated(said) == set()
    field = OPEN[stream][header]
    assert field in said
    assert any(each.startswith(f"{field}: ") and f'"{header}"' in each for each in made.open)


@pytest.mark.parametrize(("stream", "header"), [(s, h) for s, headers in NEITHER.items() for h in headers])
def test_what_no_word_speaks_for_is_left_alone(stream: str, header: str, tmp_path: Path) -> None:
    said, made = proposed(stream, header, tmp_path)
    assert stated(said) == set()
    assert header in made.unused or any(f'"{header}"' in each for each in made.open)


def test_the_room_is_not_the_oil_beside_it(tmp_path: Path) -> None:
    """The case that did harm: a room temperature published as that of the oil, whose own column stood beside it."""
    path = tmp_path / "log.csv"
    path.write_text("Time [s];Temp. Halle [°C];T_Öl [°C];p_Kurbelgehäuse [mbar];Speisedruck [bar]\n"
                    "0;22.5;81.5;2.1;6.1\n1;22.5;81.6;2.0;6.0\n2;22.6;81.7;2.1;6.1\n", encoding="utf-8")  # fmt: skip
    made = propose.log(seen.look(path, "log.csv"), None, "log.csv")
    said = yaml.safe_load(made.text())[0]["channels"]
    assert {name: each["header"] for name, each in said.items()} == {
        "crankcase_pressure": "p_Kurbelgehäuse", "oil_temperature": "T_Öl",
    }  # fmt: skip
    assert made.unused == ["Temp. Halle [°C]", "Speisedruck [bar]"]
    assert "coolant_temperature" in made.may["Temp. Halle [°C]"]
    assert "oil_temperature" not in made.may["Temp. Halle [°C]"]
    assert "ambient_pressure" in made.may["Speisedruck [bar]"]


REPORTS = {
    "limits and commas": "Probe;Fe;Cr;Pb\nP1;13,8;<1;<0,5\nP2;14,9;<1;1,2\nP3;15,2;1,2;<0,5\n",
    "one decimal column": "Probe;Datum;Fe;Cr\nP1;12.01.2027;13,8;<1\nP2;14.01.2027;9,1;<1\n",
    "row of units": "Probe;Fe;Cr\n;mg/kg;mg/kg\nP1;13,8;<1\nP2;14,9;<1\n",
    "texts in every row": "Probe;Ort;Fe\nP1;Wanne, warm;13,8\nP2;Wanne, warm;14,9\n",
    "not detected": "Probe;Fe;Cr;Sn\nP1;13,8;n.d.;-\nP2;14,9;ND;-\n",
    "whole and decimal": "Probe;Std;Fe\n101;10;13,8\n102;20;14,9\n",
}


@pytest.mark.parametrize("case", REPORTS)
def test_a_report_with_semicolons_decimal_commas_and_limits(case: str, tmp_path: Path) -> None:
    path = tmp_path / "oil.csv"
    path.write_text(REPORTS[case], encoding="utf-8")
    found = seen.look(path, "oil.csv")
    layout = found.layout
    assert (layout.separator.value, layout.marks.value.decimal, layout.heads.value) == ("semicolon", ",", (1,))
    assert found.refused == ()
    assert "Fe" in {each.header for each in found.columns if each.kind == "number"}


def test_a_year_that_comes_first_is_a_date_however_it_is_parted(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text("Datum;Verlust [%]\n2025.02.03;12.5\n2025.02.04;13.5\n", encoding="utf-8")
    found = seen.look(path, "table.csv")
    assert ([each.kind for each in found.columns], found.date_order) == (["date", "number"], "")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("1,2\n3,4\n5,6\n", "there is no row of headers"),
        ("a,b,c\n1,2,x\n3,4\n5,6\n7,8\n", "3 of 4 rows have fewer fields than the header, which has 3"),
    ],
)
def test_no_entry_is_a_failure(content: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "table.csv"
    path.write_text(content)
    assert main(["look", str(path), "--as", "leakdown"]) == 1
    shown = capsys.readouterr().out
    assert "No entry can be proposed:" in shown
    assert said in shown


def test_cells_of_a_workbook_are_shown_as_they_are_read() -> None:
    assert [seen._as_shown(cell) for cell in ("1.6839999999999999", "1.684", "A 1.6839999999999999", "0.1")] == [
        "1.684", "1.684", "A 1.6839999999999999", "0.1",
    ]  # fmt: skip
