"""vibetrend card: one page for the engine room."""

import base64
import io
import re
from pathlib import Path

import pytest
from command_line import CommandLine
from PIL import Image

GPS, ORIENTATION = 0x8825, 0x0112
needs_a_device = pytest.mark.skipif(not Path("/dev/zero").exists(), reason="devices of POSIX")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    run = CommandLine(tmp_path).with_installation()
    run.environment["VIBETREND_SETTINGS"] = str(tmp_path / "settings.toml")
    return run


def photo(run: CommandLine, name: str = "spot.jpg") -> Path:
    tags = Image.Exif()
    tags[ORIENTATION] = 6
    tags.get_ifd(GPS).update({1: "N", 2: (54.0, 19.0, 22.5), 3: "E", 4: (10.0, 8.0, 4.25)})
    Image.new("RGB", (1600, 1000), "teal").save(run.folder / name, "JPEG", exif=tags)
    return run.folder / name


def test_it_is_written_without_any_recording(run: CommandLine) -> None:
    ran = run("card", "--engine", "main")
    path = Path("reports/main-card.html")
    assert (ran.code, ran.out) == (0, f"Wrote {path}\n")
    assert "no QR code: give the page's address with --link" in ran.err
    page = (run.folder / path).read_text(encoding="utf-8")
    assert "<script" not in page
    assert "1080" in page
    again = run("card", "--engine", "main", "--json")
    assert again.json["path"] == str(path)
    assert again.json["speed_rpm"] == 1080
    assert again.json["series"] is again.json["link"] is None


def test_its_numbers_and_words_are_the_logbooks(run: CommandLine) -> None:
    stated = ("--position", "port side", "--device", "old phone", "--condition", "warm")
    done = run(
        "add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3125, "--date",
        "2024-06-07", "--baseline", *stated,
    )  # fmt: skip
    assert done.code == 0
    (status,) = run("status", "--json").json["engines"]
    made = run("card", "--engine", "main", "--json").json
    (series,) = status["series"]
    for key in ("speed_rpm", "position", "device", "condition"):
        assert made[key] == series[key]
    assert made["series"] == series["id"]
    assert made["renewal"] == status["renewal"]["state"]


def test_a_photo_is_upright_small_and_tells_no_place(run: CommandLine) -> None:
    ran = run("card", "--engine", "main", "--photo", photo(run), "--output", "card.html")
    assert ran.code == 0
    page = (run.folder / "card.html").read_text(encoding="utf-8")
    (shown,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', page)
    with Image.open(io.BytesIO(base64.b64decode(shown))) as image:
        assert image.size == (750, 1200)  # orientation 6: it was held upright
        assert dict(image.getexif()) == {}
        assert image.getexif().get_ifd(GPS) == {}
        assert "exif" not in image.info


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"no photo at all", "no photo; give a JPEG"),
        (b"\xff\xd8\xff" + bytes(50), "damaged or cut short"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC, which cannot be shown"),
        (b"", "empty"),
        (None, "no such file"),
    ],
    ids=["text", "damaged", "HEIC", "empty", "missing"],
)
def test_what_is_no_photo_leaves_nothing_behind(
    run: CommandLine, content: bytes | None, said: str
) -> None:
    if content is not None:
        (run.folder / "spot.jpg").write_bytes(content)
    ran = run("card", "--engine", "main", "--photo", "spot.jpg")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("vibetrend: spot.jpg")
    assert said in ran.err
    assert not (run.folder / "reports").exists()


def test_a_foreign_file_stays(run: CommandLine) -> None:
    foreign = run.write("card.html", "<p>my own</p>")
    ran = run("card", "--engine", "main", "--output", "card.html")
    assert ran.code == 1
    assert "is left alone; choose another --output" in ran.err
    assert foreign.read_text() == "<p>my own</p>"


def test_the_link_may_be_saved_in_the_settings(run: CommandLine) -> None:
    run.write("settings.toml", '[card]\nlink = "http://192.168.1.20/main.html"\n')
    ran = run("card", "--engine", "main", "--json")
    assert ran.json["link"] == "http://192.168.1.20/main.html"
    assert "QR" not in run("card", "--engine", "main").err
    stated = run("card", "--engine", "main", "--json", "--link", "https://a.example/")
    assert stated.json["link"] == "https://a.example/"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[card]\nlink = "main.html"', r"\[card\]: link: 'main.html' is no address of a page"),
        ('[card]\nlnk = "http://a.example"', "lnk is not a known key; did you mean link"),
        ("[card]\nlink = 1", "link must be one line of text in quotes"),
    ],
)
def test_a_wrong_link_in_the_settings_is_named_there(
    run: CommandLine, text: str, said: str
) -> None:
    run.write("settings.toml", text)
    ran = run("card", "--engine", "main")
    assert ran.code == 1
    assert re.search(rf"settings\.toml, .*{said}", ran.err)
    assert not (run.folder / "reports").exists()


def test_an_unknown_engine(run: CommandLine) -> None:
    ran = run("card", "--engine", "mian")
    assert ran.code == 1
    assert "did you mean 'main'?" in ran.err


@needs_a_device
def test_a_device_is_no_photo(run: CommandLine) -> None:
    ran = run("card", "--engine", "main", "--photo", "/dev/zero")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err == "vibetrend: /dev/zero: a device or a pipe, no file; give the path of a file\n"
