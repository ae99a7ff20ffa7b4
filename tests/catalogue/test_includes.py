"""Catalogues in several files: what they come to, where their mistakes stand, and which files are refused."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from busdesign.answers.compile import compile_catalogue
from busdesign.catalogue import includes
from busdesign.catalogue import source as yaml_source
from busdesign.catalogue.includes import MAX_FILES, project_folder
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue, parse_catalogue_at, read_catalogue
from busdesign.catalogue.text_file import MAX_FILE_BYTES
from busdesign.errors import CatalogueError, OutputError
from busdesign.findings import Finding

HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\n"
MAIN = f"{HEAD}include: legs.yaml\nnodes: {{panel: {{}}}}\nmessages:\n  lamp: {{id: 0x300, from: panel, every: 1 s}}\n"
LEGS = """\
comment: what the struts say
nodes: {strut: {}}
codes: {state: {0: up, 1: down}}
signal_types: {state: {bits: 2, codes: state}}
messages:
  report: {id: 0x200, from: strut, to: panel, every: 1 s, signals: {state: {type: state}}}
functions:
  shown: {path: [strut.lock, report, panel.lamp], within: 100 ms}
"""

Lay = Callable[..., str]


@pytest.fixture
def lay(tmp_path: Path) -> Lay:
    """Writes ``main.yaml`` and the files given by name below ``messages/``; the path of the former."""

    def write(main: str = MAIN, **files: str) -> str:
        for name, text in {"main": main, **files}.items():
            file = tmp_path / "messages" / f"{name.replace('__', '/')}.yaml"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text)
        return str(tmp_path / "messages" / "main.yaml")

    return write


def refused(path: str) -> tuple[Finding, ...]:
    with pytest.raises(CatalogueError) as raised:
        read_catalogue(path)
    return raised.value.findings


def sole(path: str) -> tuple[Finding, str, str]:
    """The only finding, the name of its file, and what stands at its place."""
    (found,) = refused(path)
    assert found.where is not None
    assert Path(found.where.file).read_text().split("\n")[found.where.line - 1] == found.where.quoted
    return found, os.path.basename(found.where.file), found.where.quoted[found.where.column - 1 :]


def including(*names: str) -> str:
    return f"include: [{', '.join(names)}]\n"


def test_the_parts_of_all_files_are_one_catalogue(lay: Lay) -> None:
    path = lay(legs=LEGS)
    found = read_catalogue(path)
    assert [message.name for message in found.messages] == ["lamp", "report"]
    assert list(found.nodes) == ["panel", "strut"]
    assert found.message("report").signal("state").codes == {0: "up", 1: "down"}
    assert [function.name for function in found.functions] == ["shown"]
    assert (found.comment, found.file) == ("", path)
    assert found.files == (path, str(Path(path).with_name("legs.yaml")))
    alone = MAIN.replace("include: legs.yaml\n", "").replace("panel: {}", "panel: {}, strut: {}")
    report = next(line for line in LEGS.split("\n") if "report:" in line)
    others = "\n".join(
        line for line in LEGS.split("\n") if line.startswith(("codes", "signal_types", "func", "  shown"))
    )
    assert found == read_catalogue(lay(f"{alone}{report}\n{others}\n"))


def test_places_name_the_file_in_which_a_part_stands(lay: Lay) -> None:
    report = read_catalogue(lay(legs=LEGS)).message("report")
    for place in (report.place_of(), report.place_of("from"), report.signal("state").place_of("bits")):
        assert place is not None
        assert os.path.basename(place.file) == "legs.yaml"
        assert place.quoted == LEGS.split("\n")[place.line - 1]


def test_includes_are_seen_from_the_file_that_names_them(lay: Lay) -> None:
    path = lay(
        MAIN.replace("legs.yaml", "common/all.yaml"),
        common__all=including("legs.yaml", "../codes.yaml"),
        common__legs=LEGS.replace("codes: {state: {0: up, 1: down}}\n", ""),
        codes="codes: {state: {0: up, 1: down}}\n",
    )
    found = read_catalogue(path)
    names = ["main.yaml", "all.yaml", "legs.yaml", "codes.yaml"]
    assert [os.path.basename(file) for file in found.files] == names
    assert found.files[3] == str(Path(path).with_name("codes.yaml"))


def test_a_file_reached_by_two_ways_is_read_once(lay: Lay) -> None:
    path = lay(
        MAIN.replace("legs.yaml", "[left.yaml, right.yaml, ./left.yaml]"),
        left=including("legs.yaml"),
        right=including("legs.yaml"),
        legs=LEGS,
    )
    assert [os.path.basename(file) for file in read_catalogue(path).files] == [
        "main.yaml",
        "left.yaml",
        "legs.yaml",
        "right.yaml",
    ]


def test_a_file_under_two_names_is_read_once(lay: Lay) -> None:
    path = lay(MAIN.replace("legs.yaml", "[legs.yaml, again.yaml]"), legs=LEGS)
    Path(path).with_name("again.yaml").symlink_to("legs.yaml")
    assert len(read_catalogue(path).files) == 2


def test_families_in_an_included_file(lay: Lay) -> None:
    numbers, identifiers = ", ".join(map(str, range(1000))), ", ".join(str(0x301 + number) for number in range(1000))
    many = f"for_each: {{number: [{numbers}], id: [{identifiers}]}}"
    leg = f"leg: {{{many}, from: strut, every: 1 s, comment: 'leg {{number}}'}}"
    path = lay(legs=f"nodes: {{strut: {{}}}}\nmessages:\n  {leg}\n")
    found = read_catalogue(path)
    assert len(found.messages) == 1001
    assert found.message("leg_999").comment == "leg 999"
    wrong = lay(legs=Path(path).with_name("legs.yaml").read_text().replace("from: strut", "from: strat"))
    everyone = refused(wrong)
    assert {finding.rule for finding in everyone} == {"unknown-node"}
    assert {finding.where and os.path.basename(finding.where.file) for finding in everyone} == {"legs.yaml"}


@pytest.mark.parametrize(
    ("was", "becomes", "rule", "at"),
    [
        ("every: 1 s", "every: 1", "wrong-unit", "1, signals"),
        ("from: strut", "from: strat", "unknown-node", "strat, to"),
        ("bits: 2, ", "bits: 2.5, ", "wrong-value", "2.5, codes"),
        ("type: state}", "type: stat}", "unknown-type", "stat}"),
        ("codes: state}", "codes: stat}", "unknown-codes", "stat}"),
        ("0x200", "0200", "leading-zero", "0200, from"),
        ("0x200", "0x300", "duplicate-identifier", "0x300, from"),
        ("{strut: {}}", "{strut: {clock: 5}}", "wrong-unit", "5}}"),
        ("nodes: {strut", "nodes: {1: {}, strut", "wrong-value", "1: {}"),
        ("messages:", "mesages:", "unknown-key", "mesages:"),
        ("comment: what", "comment: [what]  #", "wrong-value", "[what]"),
        ("codes: {state: {0: up, 1: down}}", "codes: [up, down]", "wrong-value", "[up, down]"),
        ("codes: {state: {0: up, 1: down}}", "codes:", "wrong-value", "codes:"),
        ("comment: what the struts say", "include: 5", "wrong-value", "5"),
        ("comment: what the struts say", "include: [a.yaml, '']", "wrong-value", "''"),
        ("path: [", "path: [{a: 1}, ", "wrong-value", "{a: 1}"),
        ("{0: up, 1: down}", "{0: up, 1: down", "yaml-syntax", None),
        ("say", "say \a", "control-character", None),
    ],
)
def test_a_mistake_stands_in_its_own_file(lay: Lay, was: str, becomes: str, rule: str, at: str | None) -> None:
    assert was in LEGS
    found, file, there = sole(lay(legs=LEGS.replace(was, becomes, 1)))
    assert (found.rule, file) == (rule, "legs.yaml")
    assert at is None or there.startswith(at)


def test_a_place_in_another_file_is_told_with_that_file(lay: Lay) -> None:
    (found,) = refused(lay(legs=LEGS.replace("0x200", "0x300")))
    assert "main.yaml:6:" in found.text


def test_mistakes_of_all_files_are_told_at_once(lay: Lay) -> None:
    found = refused(lay(MAIN.replace("from: panel", "from: panle"), legs=LEGS.replace("to: panel", "to: panle")))
    assert [finding.where and os.path.basename(finding.where.file) for finding in found] == ["legs.yaml", "main.yaml"]


@pytest.mark.parametrize(
    ("section", "twice"),
    [
        ("nodes", "nodes: {panel: {}}"),
        ("messages", "messages: {lamp: {id: 1, from: panel, every: 1 s}}"),
        ("codes", "codes: {c: {0: a}}"),
        ("signal_types", "signal_types: {t: {bits: 1}}"),
        ("functions", "functions: {f: {path: [lamp], within: 1 s}}"),
    ],
)
def test_a_name_in_two_files(lay: Lay, section: str, twice: str) -> None:
    main = MAIN + "codes: {c: {0: a}}\nsignal_types: {t: {bits: 1}}\nfunctions: {f: {path: [lamp], within: 1 s}}\n"
    path = lay(main, legs=twice)
    found, file, _ = sole(path)
    assert (found.rule, file) == ("duplicate-key", "legs.yaml")
    first = next(number for number, line in enumerate(main.split("\n"), 1) if line.startswith(section))
    assert f"`{section}`" in found.text
    assert f"{path}:{first + (section == 'messages')}:" in found.text


def test_a_name_in_two_included_files(lay: Lay) -> None:
    path = lay(MAIN.replace("legs.yaml", "[a.yaml, b.yaml]"), a="codes: {c: {0: a}}", b="codes: {c: {0: b}}")
    found, file, there = sole(path)
    assert (found.rule, file, there) == ("duplicate-key", "b.yaml", "c: {0: b}}")
    assert "a.yaml:1:9" in found.text


def test_circles(lay: Lay) -> None:
    path = lay(legs=including("deeper/more.yaml") + LEGS, deeper__more=including("../legs.yaml"))
    found, file, there = sole(path)
    assert (found.rule, file, there) == ("include-loop", "more.yaml", "../legs.yaml]")
    legs, more = (str(Path(path).parent / name) for name in ("legs.yaml", "deeper/more.yaml"))
    assert f"`{legs}` includes `{more}` includes `{legs}`" in found.text
    found, file, _ = sole(lay(legs=including("main.yaml") + LEGS))
    assert (found.rule, file) == ("include-loop", "legs.yaml")
    found, file, _ = sole(lay(MAIN.replace("legs.yaml", "main.yaml")))
    assert (found.rule, file) == ("include-loop", "main.yaml")


@pytest.mark.parametrize(
    ("written", "rule", "text", "fix"),
    [
        (
            "../../outside.yaml",
            "include-outside",
            "lies outside the project's folder",
            "copy the file into the project",
        ),
        (
            "../../nowhere.yaml",
            "include-outside",
            "lies outside the project's folder",
            "copy the file into the project",
        ),
        ("/etc/hostname", "include-outside", "from the root of the disk", "such as `legs.yaml`"),
        ("link.yaml", "include-outside", "leads outside the project's folder", "copy the file into the project"),
        ("dangling.yaml", "include-outside", "leads outside the project's folder", "copy"),
        ("folder_link/x.yaml", "include-outside", "outside the project's folder", "copy"),
        ("leg.yaml", "file-missing", "there is no file", "did you mean `legs.yaml`?"),
        ("nowhere/legs.yaml", "file-missing", "there is no file", "write `legs.yaml`"),
        (".", "file-unreadable", "is a folder", "one by one"),
        ("common", "file-unreadable", "is a folder", "one by one"),
        ("pipe", "file-unreadable", "a device or a pipe", ""),
        ('"a\\0b"', "include", "no zero character", ""),
        ("x" * 300, "file-missing", "there is no file", ""),
        ("large.yaml", "file-too-large", "larger than 4 MiB", "right file"),
    ],
)
def test_files_that_are_not_included(lay: Lay, written: str, rule: str, text: str, fix: str) -> None:
    path = lay(MAIN.replace("legs.yaml", written), legs=LEGS, common__more="codes: {}\n")
    folder = Path(path).parent
    outside = folder.parents[1] / "outside.yaml"
    outside.write_text(LEGS)
    (folder / "link.yaml").symlink_to(outside)
    (folder / "dangling.yaml").symlink_to(folder.parents[1] / "nowhere.yaml")
    (folder / "folder_link").symlink_to(folder.parents[1])
    os.mkfifo(folder / "pipe")
    if written == "large.yaml":
        (folder / written).write_bytes(b"#" * (MAX_FILE_BYTES + 1))
    found, file, there = sole(path)
    assert (found.rule, file) == (rule, "main.yaml")
    assert there == written
    assert text in found.text
    assert fix in found.fix
    outside.unlink()


def test_an_absolute_path_inside_the_project(lay: Lay) -> None:
    path = lay(legs=LEGS)
    lay(MAIN.replace("legs.yaml", str(Path(path).with_name("legs.yaml"))), legs=LEGS)
    found, _, _ = sole(path)
    assert (found.rule, found.fix) == ("include-outside", "write `legs.yaml`")


def test_a_file_that_may_not_be_read(lay: Lay) -> None:
    path = lay(legs=LEGS)
    Path(path).with_name("legs.yaml").chmod(0)
    if os.access(Path(path).with_name("legs.yaml"), os.R_OK):
        pytest.skip("nothing is forbidden to this user")
    found, file, _ = sole(path)
    assert (found.rule, file) == ("file-unreadable", "main.yaml")


def test_a_file_that_is_no_utf8(lay: Lay) -> None:
    path = lay(legs="")
    Path(path).with_name("legs.yaml").write_bytes(b"codes:\n  caf\xe9: {0: a}\n")
    (found,) = refused(path)
    assert found.rule == "not-utf8"
    assert found.where is not None
    assert (os.path.basename(found.where.file), found.where.line, found.where.column) == ("legs.yaml", 2, 6)


@pytest.mark.parametrize(
    ("text", "rule", "said"),
    [
        (HEAD + LEGS, "include", "a catalogue of its own"),
        ("bus: {bit_rate: 1 Mbit/s}\n" + LEGS, "include", "`bus` belongs in the main file"),
        ("revision: 5\n" + LEGS, "include", "`revision` belongs in the main file"),
        ("scenario: a\ncatalogue: main.yaml\nrun_for: 1 s\n", "include", "this is a scenario"),
        ("[a, b]\n", "wrong-value", "expected a mapping"),
        ("legs\n", "wrong-value", "found `legs`"),
        ("null\n", "wrong-value", "found nothing"),
        ("", "file-empty", "the file says nothing"),
    ],
)
def test_files_that_are_no_part_of_a_catalogue(lay: Lay, text: str, rule: str, said: str) -> None:
    found, file, _ = sole(lay(legs=text))
    assert (found.rule, file) == (rule, "legs.yaml")
    assert said in found.text


@pytest.mark.parametrize("written", ["5", "{a: 1}", "[legs.yaml, 5]", "''", "", "[[legs.yaml]]"])
def test_an_include_that_names_no_files(lay: Lay, written: str) -> None:
    found, file, _ = sole(lay(MAIN.replace("legs.yaml", written), legs=LEGS))
    assert (found.rule, file) == ("wrong-value", "main.yaml")


def test_nothing_is_included(lay: Lay) -> None:
    assert read_catalogue(lay(MAIN.replace("legs.yaml", "[]"))).files == (lay(),)


def test_a_catalogue_given_as_text_includes_nothing() -> None:
    with pytest.raises(CatalogueError) as raised:
        parse_catalogue(MAIN)
    (found,) = raised.value.findings
    assert found.rule == "include"
    assert (found.where and found.where.line) == 3
    assert parse_catalogue(MAIN.replace("legs.yaml", "[]")).files == ("catalogue.yaml",)


def test_a_text_that_is_to_lie_in_a_file_includes_what_lies_beside_it(lay: Lay) -> None:
    path = lay("", legs=LEGS)
    assert [message.name for message in parse_catalogue_at(path, MAIN).messages] == ["lamp", "report"]


def test_fifty_files_are_the_most(lay: Lay) -> None:
    names = [f"f{number}" for number in range(MAX_FILES)]
    files = {name: f"codes: {{{name}: {{0: a}}}}\n" for name in names}
    most = lay(MAIN.replace("legs.yaml", f"[{', '.join(f'{name}.yaml' for name in names[:-1])}]"), **files)
    assert len(read_catalogue(most).files) == MAX_FILES
    found, _, there = sole(lay(MAIN.replace("legs.yaml", f"[{', '.join(f'{name}.yaml' for name in names)}]"), **files))
    assert (found.rule, there) == ("include", f"{names[-1]}.yaml]")
    assert "more than 50 files" in found.text


def test_a_chain_of_fifty_files(lay: Lay) -> None:
    files = {f"f{number}": including(f"f{number + 1}.yaml") for number in range(MAX_FILES + 20)}
    found, file, _ = sole(lay(MAIN.replace("legs.yaml", "f0.yaml"), **files))
    assert (found.rule, file) == ("include", "f48.yaml")


def test_the_limits_hold_for_all_files_together(lay: Lay, monkeypatch: pytest.MonkeyPatch) -> None:
    two = MAIN.replace("legs.yaml", "[a.yaml, b.yaml]")
    half = "# " + "x" * (MAX_FILE_BYTES // 2) + "\ncodes: {}\n"
    found, file, there = sole(lay(two, a=half, b=half))
    assert (found.rule, file, there) == ("file-too-large", "main.yaml", "b.yaml]")
    codes = "codes: {%s: {" + ", ".join(f"{raw}: w{raw}" for raw in range(60)) + "}}\n"
    assert read_catalogue(lay(two, a=codes % "a", b=codes % "b")).codes
    monkeypatch.setattr(yaml_source, "MAX_VALUES", 200)
    assert read_catalogue(lay(two, a=codes % "a", b="codes: {}\n")).codes
    found, file, _ = sole(lay(two, a=codes % "a", b=codes % "b"))
    assert (found.rule, file) == ("yaml-size", "b.yaml")


def test_aliases_are_counted_over_all_files(lay: Lay, monkeypatch: pytest.MonkeyPatch) -> None:
    aliases = "codes: {%s: &w {0: a, 1: b, 2: c, 3: d}, %s2: *w}\n"
    two = MAIN.replace("legs.yaml", "[a.yaml, b.yaml]")
    path = lay(two, a=aliases % ("a", "a"), b=aliases % ("b", "b"))
    assert len(read_catalogue(path).codes) == 4
    monkeypatch.setattr(yaml_source, "MAX_REPEATED", 12)
    found, file, _ = sole(path)
    assert (found.rule, file) == ("yaml-alias", "b.yaml")


def test_the_project_is_the_nearest_folder_with_messages(tmp_path: Path) -> None:
    (tmp_path / "outer" / "messages").mkdir(parents=True)
    (tmp_path / "outer" / "inner" / "messages" / "deep").mkdir(parents=True)
    (tmp_path / "plain").mkdir()
    outer, inner = tmp_path / "outer", tmp_path / "outer" / "inner"
    assert project_folder(outer / "c.yaml") == outer.resolve()
    assert project_folder(outer / "messages" / "c.yaml") == outer.resolve()
    assert project_folder(inner / "messages" / "deep" / "c.yaml") == inner.resolve()
    assert project_folder(tmp_path / "plain" / "c.yaml") == (tmp_path / "plain").resolve()


def test_beside_the_main_file_where_there_is_no_project(tmp_path: Path) -> None:
    home = tmp_path / "alone"
    home.mkdir()
    (home / "main.yaml").write_text(MAIN)
    (home / "legs.yaml").write_text(LEGS)
    assert len(read_catalogue(home / "main.yaml").messages) == 2
    (tmp_path / "legs.yaml").write_text(LEGS)
    (home / "main.yaml").write_text(MAIN.replace("legs.yaml", "../legs.yaml"))
    found, _, _ = sole(str(home / "main.yaml"))
    assert found.rule == "include-outside"


def test_a_relative_main_file(lay: Lay, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(Path(lay(legs=LEGS)).parent)
    assert read_catalogue("main.yaml").files == ("main.yaml", "legs.yaml")
    monkeypatch.chdir("..")
    assert read_catalogue("messages/main.yaml").files == ("messages/main.yaml", "messages/legs.yaml")


def test_no_file_is_opened_without_an_include(lay: Lay, monkeypatch: pytest.MonkeyPatch) -> None:
    path = lay(MAIN.replace("include: legs.yaml\n", ""))
    monkeypatch.setattr(includes, "_Reading", None)
    assert isinstance(read_catalogue(path), Catalogue)


def test_a_result_never_takes_the_place_of_an_included_file(lay: Lay) -> None:
    path = lay(MAIN.replace("legs.yaml", "tried.dbc"))
    part = Path(path).with_name("tried.dbc")
    part.write_text(LEGS)
    with pytest.raises(OutputError, match="made from that file"):
        compile_catalogue(path, part.parent)
    assert part.read_text() == LEGS


def test_a_part_that_is_checked_by_itself_says_so_first(lay: Lay) -> None:
    main = lay(
        main="catalogue: x\nbus: {bit_rate: 250 kbit/s}\ninclude: legs.yaml\nnodes: {panel: {}}\n",
        legs="nodes: {strut: {}}\nmessages: {m: {id: 1, from: strut, every: 1 s, lsot_after: 3 s}}\n",
    )
    legs = os.path.join(os.path.dirname(main), "legs.yaml")
    with pytest.raises(CatalogueError) as refused:
        read_catalogue(legs)
    first, *others = refused.value.findings
    assert (first.rule, first.where and (first.where.line, first.where.column)) == ("not-a-catalogue", (1, 1))
    assert first.fix == f"check `{os.path.relpath(main)}`, which includes it"
    assert [found.rule for found in others] == ["unknown-key"]  # of the part itself
    os.remove(main)
    with pytest.raises(CatalogueError) as refused:
        read_catalogue(legs)
    assert refused.value.findings[0].fix == "check the file that includes it, or give it both"


def test_no_name_is_taken_for_another_because_both_end_in_yaml(lay: Lay) -> None:
    main = lay(main="catalogue: x\nbus: {bit_rate: 250 kbit/s}\ninclude: [nope.yaml, lges.yaml]\n", legs="nodes: {}\n")
    with pytest.raises(CatalogueError) as refused:
        read_catalogue(main)
    fixes = [found.fix for found in refused.value.findings if found.rule == "file-missing"]
    assert fixes == ["allowed: `legs.yaml`, `main.yaml`", "did you mean `legs.yaml`?"]
