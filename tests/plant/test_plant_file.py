"""A plant description is read whole, or refused with every fault, its line and a suggestion."""

from datetime import time

import pytest

from lineview.core.errors import PlantError
from lineview.plant import ColumnTarget
from lineview.plant.read import read_plant

RIGHT = """\
shop = "Quay Street Sweets"   # invented
zone = "Europe/Paris"
currency = "EUR"

[[shifts]]
id = "early"
start = 06:00:00
end = "14:00"
breaks = [{ start = "09:00", end = 09:15:00 }]

[[shifts]]
id = "night"
start = "22:00"
end = "06:00"
days = ["mon", "sun"]
breaks = [{ start = "01:00", end = "01:30" }]

[[lines]]
id = "line1"

[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "line1"

[[machines.counters]]
id = "good"
counts = "good pieces"
modulus = 10000
fastest_per_min = 450

[[webs]]
id = "film1"
kind = "film"
cut_length_mm = 56
width_mm = 90
thickness_um = 23
density_g_cm3 = 1.39
reel_outer_mm = 300
reel_core_mm = 76.2
food_contact_declared_on = 2026-01-31

[[products]]
id = "banana"
flavour = "banana"
mass_g = 6.8
mass_tolerance_g = 0.3
diameter_mm = 14
diameter_tolerance_mm = 0.4
cut_length_mm = 40
webs = ["film1"]

[[layouts]]
id = "daily"
machine = "wrap1"
[layouts.columns]
"Good pcs" = "good"
"""


def read(folder, text, extra=None):
    path = folder / "plant.toml"
    path.write_text(text, encoding="utf-8")
    more = folder / "layouts.toml"
    if extra is not None:
        more.write_text(extra, encoding="utf-8")
    return read_plant(path, more)


def faults(folder, text, extra=None):
    with pytest.raises(PlantError) as caught:
        read(folder, text, extra)
    return caught.value.faults


def line_of(text, part):
    return next(i for i, line in enumerate(text.splitlines(), 1) if part in line)


def test_a_right_file_is_read(tmp_path):
    plant = read(tmp_path, RIGHT)
    assert plant.shifts[0].end == time(14)
    assert plant.shifts[0].breaks[0].start == time(9)
    assert plant.machines[0].nominal_per_min == (300.0, 400.0)
    assert plant.machines[0].counters[0].modulus == 10_000
    assert plant.layouts[0].columns == {"Good pcs": ColumnTarget(to="good")}
    assert plant.webs[0].food_contact_declared_on == "2026-01-31"


def test_a_mark_at_the_start_and_crlf_do_no_harm(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_bytes(b"\xef\xbb\xbf" + RIGHT.replace("\n", "\r\n").encode())
    assert read_plant(path).shop == "Quay Street Sweets"
    path.write_bytes(path.read_bytes().replace(b'kind = "film"', b'kind = "foil"'))
    with pytest.raises(PlantError, match="line 34:"):
        read_plant(path)


def test_five_faults_come_at_once_each_with_its_line(tmp_path):
    wrong = (
        RIGHT.replace("currency", "curency")
        .replace('"Europe/Paris"', '"Europe/Pariss"')
        .replace("modulus = 10000", 'modulus = "unkown"')
        .replace('line = "line1"', 'line = "lin1"')
        .replace('"Good pcs" = "good"', '"Good pcs" = "god"')
    )
    reported = faults(tmp_path, wrong)
    assert [fault.where for fault in reported] == [
        f"plant.toml line {line_of(wrong, part)}"
        for part in ('"Europe/Pariss"', "curency", 'line = "lin1"', "unkown", '"Good pcs"')
    ]
    assert [fault.do for fault in reported] == [
        "Did you mean 'Europe/Paris'?",
        "Did you mean 'currency'?",
        "Did you mean 'line1'?",
        "Did you mean 'unknown'?",
        "Did you mean 'good'?",
    ]
    assert all(fault.what and fault.expected for fault in reported)


COUNTER = '[[machines.counters]]\nid = "{}"\ncounts = "{}"\nfastest_per_min = {}\n\n[[webs]]'
GAUGE = '[[machines.gauges]]\nid = "s"\nmeasures = "{}"\ncodes = {{ {} }}\n\n[[webs]]'
SHIFT = '[[shifts]]\nid = "{}"\nstart = "{}"\nend = "{}"\n\n[[lines]]'
CROSSES = {
    "unknown time zone": ("Europe/Paris", "Mars/Olympus", "Mars/Olympus"),
    "two machines have the id 'wrap1'": (
        "[[webs]]",
        '[[machines]]\nid = "wrap1"\nkind = "sizer"\nline = "line1"\n\n[[webs]]',
        None,
    ),
    "unknown line 'line9'": ('line = "line1"', 'line = "line9"', "line9"),
    "unknown web 'film9'": ('webs = ["film1"]', 'webs = ["film9"]', "film9"),
    "runs from 400 down to 300": ('line = "line1"', 'line = "line1"\nnominal_per_min = [400, 300]', "[400, 300]"),
    "the break 05:00 to 09:15 is outside its shift": ('start = "09:00"', 'start = "05:00"', '"05:00"'),
    "the break 01:00 to 07:00 is outside its shift": ('end = "01:30"', 'end = "07:00"', '"07:00"'),
    "shifts 'early' and 'noon' overlap on mon": ("[[lines]]", SHIFT.format("noon", "13:59", "15:00"), '"13:59"'),
    "shifts 'night' and 'dawn' overlap on mon": ("[[lines]]", SHIFT.format("dawn", "05:00", "06:00"), '"05:00"'),
    "web 'film1' has no mass": ("density_g_cm3 = 1.39", "", None),
    "the core of 300 mm is not smaller than the reel of 300 mm": ("76.2", "300", "core"),
    "unknown machine 'wrap2'": ('machine = "wrap1"', 'machine = "wrap2"', "wrap2"),
    "which is not a counter or gauge of machine 'wrap1'": ('= "good"\n', '= "rejects"\n', None),
    "has two counters of good pieces": ("[[webs]]", COUNTER.format("g2", "good pieces", 450), None),
    "two counters or gauges have the id 'good'": ("[[webs]]", COUNTER.format("good", "rejects", 450), None),
    "the fastest possible rate is 350 pieces a minute": ("= 450", "= 350", "= 350"),
    "'7' is 'starvd'": ("[[webs]]", GAUGE.format("state", '"7" = "starvd"'), "starvd"),
    "has codes of states": ("[[webs]]", GAUGE.format("batch", '"7" = "stop"'), None),
    "the code 'Run' means both stop and running": (
        "[[webs]]",
        GAUGE.format("state", 'run = "stop", Run = "running"'),
        None,
    ),
    "'mass_g' is -1": ("mass_g = 6.8", "mass_g = -1", "mass_g = -1"),
    "'width_mm' is '90,5'": ("width_mm = 90", 'width_mm = "90,5"', "90,5"),
    "'flavour' is missing in [[products]]": ('flavour = "banana"\n', "", "[[products]]"),
    "'kind' is 'wrapper'": ('kind = "cut-and-wrap machine"', 'kind = "wrapper"', '"wrapper"'),
    "'start' is '6.30'": ("start = 06:00:00", 'start = "6.30"', '"6.30"'),
    "'days' is 'fryday'": ('days = ["mon", "sun"]', 'days = ["mon", "fryday"]', "fryday"),
    "'webs' is 'film1'": ('webs = ["film1"]', 'webs = "film1"', 'webs = "film1"'),
    "'id' is ''": ('id = "banana"', 'id = ""', 'id = ""'),
    "unknown key 'denstiy_g_cm3' in [[webs]]": ("density_g_cm3", "denstiy_g_cm3", "denstiy"),
}


@pytest.mark.parametrize("what", CROSSES)
def test_what_does_not_fit_is_said_with_its_line(tmp_path, what):
    old, new, mark = CROSSES[what]
    wrong = RIGHT.replace(old, new, 1) if old != '= "good"\n' else new.join(RIGHT.rsplit(old, 1))
    assert wrong != RIGHT
    matching = [fault for fault in faults(tmp_path, wrong) if what in fault.what]
    assert len(matching) == 1
    assert matching[0].expected
    if mark is not None:
        assert matching[0].where == f"plant.toml line {line_of(wrong, mark)}"


ONE_PART = {
    "a counter of a wrong modulus is still too slow": (
        ("modulus = 10000\nfastest_per_min = 450", "modulus = 0\nfastest_per_min = 350"),
        ["'modulus' is 0", "the fastest possible rate is 350 pieces a minute"],
    ),
    "a shift with a wrong break still overlaps another": (
        ('start = "22:00"\nend = "06:00"', 'start = "13:00"\nend = "21:00"'),
        ["shifts 'early' and 'night' overlap on mon", "the break 01:00 to 01:30 is outside its shift 'night'"],
    ),
    "a web of a wrong width still has no mass and a core too large": (
        (
            "width_mm = 90\nthickness_um = 23\ndensity_g_cm3 = 1.39\nreel_outer_mm = 300",
            "width_mm = 0\nreel_outer_mm = 70",
        ),
        ["web 'film1' has no mass", "'width_mm' is 0", "the core of 76.2 mm is not smaller than the reel of 70 mm"],
    ),
    "a column of a wrong target hides no other": (
        ('"Good pcs" = "good"', '"A" = 5\n"Good pcs" = "god"'),
        ["'A' is 5", "column 'Good pcs' points at 'god', which is not a counter or gauge of machine 'wrap1'"],
    ),
    "a shift of an unknown day is in none that could overlap": (
        ('start = "22:00"\nend = "06:00"\ndays = ["mon", "sun"]', 'start = "13:00"\nend = "21:00"\ndays = ["x"]'),
        ["'days' is 'x'", "the break 01:00 to 01:30 is outside its shift 'night'"],
    ),
}


@pytest.mark.parametrize("claim", ONE_PART)
def test_all_faults_of_one_part_come_at_once(tmp_path, claim):
    (old, new), expected = ONE_PART[claim]
    assert old in RIGHT
    assert [fault.what for fault in faults(tmp_path, RIGHT.replace(old, new, 1))] == expected


def test_two_machines_of_one_id_bring_no_further_fault(tmp_path):
    twin = '[[machines]]\nid = "wrap1"\nkind = "sizer"\nline = "line1"\n\n[[webs]]'
    layout = '\n[[layouts]]\nid = "w"\nfiles = "w*.csv"\nmachine = "wrap1"\ntime = "t"\n'
    layout += '[layouts.columns]\n"n" = { to = "good" }\n'
    (tmp_path / "plant.toml").write_text(RIGHT.replace("[[webs]]", twin, 1) + layout)
    with pytest.raises(PlantError) as caught:
        read_plant(tmp_path / "plant.toml")
    assert [fault.what for fault in caught.value.faults] == ["two machines have the id 'wrap1'"]


def test_no_word_of_the_checking_library_reaches_the_reader(tmp_path):
    wrong = RIGHT
    for old, new, _ in CROSSES.values():
        wrong = wrong.replace(old, new, 1)
    text = str(PlantError(faults(tmp_path, wrong)))
    for word in ("pydantic", "Input should", "validation", "Field", "type=", "https"):
        assert word not in text


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('shop = "x"\nzone = \n', 2),
        ('shop = "x\n', 1),
        ('shop = "x"\nshop = "y"\n', 2),
        ('shop = "x"\n[[lines]\n', 2),
        ('shop = "x"\nlist = [1,\n', 2),
    ],
)
def test_a_syntax_error_is_one_fault_with_its_line(tmp_path, text, line):
    (fault,) = faults(tmp_path, text)
    assert fault.where == f"plant.toml line {line}"
    assert fault.expected


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(PlantError, match="there is no file"):
        read_plant(tmp_path / "plant.toml")
    (tmp_path / "plant.toml").write_bytes(b'shop = "x"\nzone = "\xe9"\n')
    with pytest.raises(PlantError, match="line 2: a character is not UTF-8"):
        read_plant(tmp_path / "plant.toml")
    with pytest.raises(PlantError, match="cannot be read"):
        read_plant(tmp_path)


def test_further_layouts_are_added_and_their_faults_name_their_file(tmp_path):
    added = '[[layouts]]\nid = "second"\nmachine = "wrap1"\n'
    assert [layout.id for layout in read(tmp_path, RIGHT, added).layouts] == ["daily", "second"]
    reported = faults(tmp_path, RIGHT, added.replace("wrap1", "wrap7") + "shap = 1\n[web]\nx = 1\n")
    assert [(f.where, f.what.split(" ")[0]) for f in reported] == [
        ("layouts.toml line 3", "unknown"),
        ("layouts.toml line 4", "unknown"),
        ("layouts.toml line 5", "'web'"),
    ]
    (fault,) = faults(tmp_path, RIGHT, added.replace("second", "daily"))
    assert fault.what == "two layouts have the id 'daily'"


@pytest.mark.parametrize(
    ("kind", "to"),
    [("stops", "duration"), ("plan", "week"), ("weights", "mass_g"), ("batches", "line"), ("reels", "machine")],
)
def test_each_kind_of_export_has_its_own_fields(tmp_path, kind, to):
    layout = f'[[layouts]]\nid = "x"\nkind = "{kind}"\n[layouts.columns]\n"A" = "{{}}"\n'
    assert read(tmp_path, RIGHT, layout.format(to)).layouts[1].columns["A"].to == to
    (fault,) = faults(tmp_path, RIGHT, layout.format("good"))
    assert fault.what == f"column 'A' points at 'good', which is not a field of {kind} exports"
    assert fault.where == "layouts.toml line 5"
