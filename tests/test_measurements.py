from __future__ import annotations

import pytest

from meshcomp.errors import CalibrationError
from meshcomp.measurements.pieces import PieceFeature, PieceSheet, piece_json, read_piece
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.measurements.tables import read_readings

HEADER = "piece,id,kind,nominal_size,instrument,resolution,accuracy,reading_1,reading_2"


@pytest.fixture
def table(tmp_path):
    def write(text, name="bench.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_text(text, encoding=encoding)
        return path

    return write


@pytest.fixture
def sheet(tmp_path):
    features = tuple(
        PieceFeature(
            id=f"B{k}",
            kind="bore",
            nominal_size=float(size),
            point=(0.0, 0.0, 0.0),
            direction=(0.0, 0.0, 1.0),
            start=0.0,
            end=6.0,
        )
        for k, size in enumerate((4, 8), start=1)
    )
    sheet = PieceSheet(name="ladder", features=features)
    (tmp_path / "testpiece.json").write_text(piece_json(sheet), encoding="utf-8")
    return sheet


def test_a_row_becomes_a_reading_with_its_instrument_and_place(table):
    path = table(f"{HEADER}\nfirst,B1,bore,8,caliper,0.01,0.03,7.84,7.86\n")
    expected = Reading(
        piece="first",
        feature_id="B1",
        kind="bore",
        nominal_size=8.0,
        mesh_size=8.0,
        values=(7.84, 7.86),
        instrument=Instrument(name="caliper", resolution=0.01, accuracy=0.03),
        source=f"{path}, line 2",
    )
    assert read_readings([path]).readings == (expected,)


@pytest.mark.parametrize(
    "text",
    [
        "id;kind;nominal_size;reading_1;reading_2\nB1;bore;8,0;7,84;7,86\n",
        "id\tkind\tnominal_size\treading_1\treading_2\nB1\tbore\t8\t7,84\t7.86\n",
        'id,kind,nominal_size,reading_1,reading_2\nB1,bore,8,"7,84",7.86\n',
        "# bench\n\nid,kind,nominal_size,reading_1,x_2\n".replace("x_2", "reading_2")
        + "# pins only below 5 mm\nB1,bore,8,7.84,7.86\n,,,,\n",
        "ID , Kind,Nominal size,Reading 1,Reading 2\nB1, bore ,8,7.84, 7.86\n",
        "\ufeffid,kind,nominal_size,reading_1,reading_2\r\nB1,bore,8,7.84,7.86\r\n",
        "id,reading_1,kind,reading_2,nominal_size,reading_3\nB1,7.84,bore,7.86,8,\n",
    ],
)
def test_every_way_to_write_the_table_gives_the_same_values(table, text):
    (reading,) = read_readings([table(text)]).readings
    assert (reading.values, reading.nominal_size) == ((7.84, 7.86), 8.0)


def test_a_table_of_an_older_spreadsheet_is_read(table):
    text = "id;kind;nominal_size;reading;note\nB1;bore;8;7,84;schräg\n"
    (reading,) = read_readings([table(text, encoding="latin-1")]).readings
    assert reading.values == (7.84,)


@pytest.mark.usefixtures("sheet")
def test_kind_and_size_come_from_the_piece_beside_the_table(table):
    result = read_readings([table("id,reading\nB2,7.84\nB1,\n")])
    (reading,) = result.readings
    assert (reading.piece, reading.kind, reading.mesh_size) == ("ladder", "bore", 8.0)
    assert result.unmeasured == ("ladder B1",)


def test_a_piece_file_survives_reading(sheet, tmp_path):
    assert read_piece(tmp_path / "testpiece.json") == sheet


def test_gauges_bound_a_bore_and_a_boss_the_other_way_round(table):
    text = (
        "id,kind,nominal_size,go_size,no_go_size\n"
        "B1,bore,20,19.6,19.8\nS1,boss,10,10.2,10\nB2,bore,8,7.8,\n"
    )
    bore, boss, open_ended = read_readings([table(text)]).readings
    assert bore.bounds == (19.6, 19.8)
    assert boss.bounds == (10.0, 10.2)
    assert open_ended.bounds == (7.8, None)
    assert bore.is_interval
    assert not bore.values


def test_several_files_are_read_in_their_order(table):
    text = "id,kind,nominal_size,reading\nB1,bore,8,{}\n"
    first = table(text.format(7.84), "one.csv")
    second = table(text.format(7.88), "two.csv")
    readings = read_readings([second, first]).readings
    assert [(r.piece, r.values) for r in readings] == [("two", (7.88,)), ("one", (7.84,))]


def test_a_compensated_part_tells_its_mesh_size(table):
    text = "id,kind,nominal_size,mesh_size,reading\nbore-1,bore,8,8.15,8.01\n"
    (reading,) = read_readings([table(text)]).readings
    assert (reading.nominal_size, reading.mesh_size) == (8.0, 8.15)


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ("B1,bore,8,7.8x,", "reading is '7.8x', which is no number above zero"),
        ("B1,bore,8,-7.8,", "reading is '-7.8', which is no number above zero"),
        ("B1,bore,8,nan,", "reading is 'nan', which is no number"),
        ("B1,bore,8,7.84 mm,", "reading is '7.84 mm', which is no number"),
        ("B1,bore,8,80,", "reading is 80 mm on a bore of 8 mm: a decimal point in the"),
        ("B1,bore,8,0.784,", "reading is 0.784 mm on a bore of 8 mm: a decimal point"),
        ("B1,bore,8,0.309,", r"reading is 0.309 mm on a bore of 8 mm: inches\? Give mm"),
        ("B1,bore,8,9.9,", "reading is 9.9 mm on a bore of 8 mm: more than a print can"),
        ("B1,hole,8,7.84,", "kind is 'hole'; kinds are bore,"),
        (",bore,8,7.84,", "has no id"),
        ("B1,,8,7.84,", "kind is blank and no testpiece.json"),
        ("B1,bore,,7.84,", "nominal_size is blank and no testpiece.json"),
        ("B1,bore,8,7.84,0.03", "names an instrument without its resolution"),
    ],
)
def test_a_row_that_cannot_be_right_is_named(table, cells, message):
    path = table(f"# bench\nid,kind,nominal_size,reading,accuracy\n{cells}\n")
    with pytest.raises(CalibrationError, match=rf"bench\.csv, line 3: {message}"):
        read_readings([path])


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ("bore,20,19.8,19.6,", "go_size 19.8 mm is not below no_go_size 19.6 mm"),
        ("bore,20,19.8,19.8,", "go_size 19.8 mm is not below no_go_size 19.8 mm"),
        ("boss,20,19.8,20.0,", "go_size 19.8 mm is not above no_go_size 20 mm"),
        ("bore,20,19.6,19.8,19.7", "has readings and gauge sizes"),
        ("bore,20,1.96,,", "go_size is 1.96 mm on a bore of 20 mm"),
    ],
)
def test_gauges_that_cannot_be_right_are_named(table, cells, message):
    text = f"id,kind,nominal_size,go_size,no_go_size,reading\nB1,{cells}\n"
    with pytest.raises(CalibrationError, match=rf"bench\.csv, line 2: {message}"):
        read_readings([table(text)])


@pytest.mark.usefixtures("sheet")
def test_an_unknown_id_is_named_with_the_ids_there_are(table):
    with pytest.raises(
        CalibrationError, match=r"line 2: 'B9' is no feature of ladder, which has B1, B2"
    ):
        read_readings([table("id,reading\nB9,7.84\n")])


@pytest.mark.usefixtures("sheet")
def test_a_row_that_contradicts_the_piece_is_named(table):
    path = table("id,kind,nominal_size,reading\nB1,boss,4,3.9\nB2,bore,7,7.84\n")
    with pytest.raises(
        CalibrationError, match="line 2: kind is 'boss', but test"
    ) as caught:
        read_readings([path])
    assert "line 3: nominal_size is 7 mm, but testpiece.json says 8 mm" in str(caught.value)


def test_all_wrong_rows_are_named_at_once(table):
    text = "id,kind,nominal_size,reading\nB1,bore,8,80\nB2,bore,8,7.9\nB3,bore,8,x\n"
    with pytest.raises(CalibrationError, match="2 rows or cells") as caught:
        read_readings([table(text)])
    assert [part in str(caught.value) for part in ("line 2", "line 3", "line 4")] == [
        True,
        False,
        True,
    ]


def test_one_feature_of_one_print_in_two_rows_is_refused(table):
    text = "id,kind,nominal_size,reading\nB1,bore,8,7.84\nB1,bore,8,7.86\n"
    with pytest.raises(CalibrationError, match=r"line 3: B1 of piece bench was read in"):
        read_readings([table(text)])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty; the first line must name the columns"),
        ("id,size\n", "line 1: unknown column 'size'"),
        ("id,id\n", "line 1: column 'id' stands twice"),
        ("kind,reading\n", "line 1: no column 'id'"),
        ("id,kind,reading\nB1,bore,7,84\n", r"line 2: has 4 cells .*'84' is left over"),
    ],
)
def test_a_table_of_another_shape_is_refused(table, text, message):
    with pytest.raises(CalibrationError, match=message):
        read_readings([table(text)])


def test_a_missing_table_is_named(tmp_path):
    with pytest.raises(CalibrationError, match=r"none\.csv: cannot be read"):
        read_readings([tmp_path / "none.csv"])


@pytest.mark.usefixtures("sheet")
@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"B2"', '"B1"', "the id B1 stands there twice"),
        ('"kind": "bore"', '"kind": "hole"', "B1: unknown kind 'hole'"),
        ('"schema": 1', '"schema": 3', "schema: Input should be 1"),
        ("{", "", "the whole file: Invalid JSON"),
    ],
)
def test_a_wrong_piece_file_is_refused(tmp_path, old, new, message):
    path = tmp_path / "testpiece.json"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(CalibrationError, match=message):
        read_piece(path)


def test_a_missing_piece_file_is_named(tmp_path):
    with pytest.raises(CalibrationError, match=r"testpiece\.json: cannot be read"):
        read_piece(tmp_path / "testpiece.json")
