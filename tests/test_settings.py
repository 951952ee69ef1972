"""The tables ``[shown]`` (units a person wants to see) and ``[card]`` of the settings."""

from pathlib import Path

import pytest

from vibetrend.quantities import Quantity, ShownUnits, unit
from vibetrend.settings import SettingsError, card_link, mail_settings, shown_units


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "settings.toml"
    monkeypatch.setenv("VIBETREND_SETTINGS", str(file))
    return file


def test_without_settings_units_are_metric(settings: Path) -> None:
    assert shown_units() == ShownUnits()
    settings.write_text('[mail]\nserver = "mail.example.org"\n')
    assert shown_units() == ShownUnits()


@pytest.mark.parametrize("length", ["thou", "0.001 in", "mil"])
def test_what_is_chosen_is_shown_and_the_rest_stays(settings: Path, length: str) -> None:
    settings.write_text(f'[shown]\nlength = "{length}"\ntorque = "ft-lb"\n')
    shown = shown_units()
    names = (shown.velocity.name, shown.length.name, shown.torque.name, shown.force.name)
    assert names == ("mm/s", "thou", "lbf ft", "N")
    # NIST SP 811: 1 in = 25.4 mm and 1 lbf ft = 1.355 817 948 331 N m exactly.
    assert shown.of(Quantity(0.127, unit("mm"))).value == pytest.approx(5.0)
    assert shown.of(Quantity(162.69815379976805, unit("N m"))).value == pytest.approx(120.0)


def test_the_other_two_can_be_chosen_as_well(settings: Path) -> None:
    settings.write_text('[shown]\nvelocity = "in/s"\nforce = "lbf"\n')
    shown = shown_units()
    assert shown.of(Quantity(25.4, unit("mm/s"))).value == pytest.approx(1.0)
    assert shown.of(Quantity(535.0, unit("N"))).value == pytest.approx(120.27278, abs=5e-6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[shown]\nlenght = "mm"', "lenght is not a known key; did you mean length"),
        ('[shown]\nweight = "kg"', "known are velocity, length, torque, force"),
        (
            '[shown]\nlength = "furlong"',
            r"length is 'furlong'; write \"mm\" or \"thou\" \(0.001 in",
        ),
        ('[shown]\nlength = "m"', 'write "mm" or "thou"'),
        ('[shown]\ntorque = "N"', 'torque is \'N\'; write "N m" or "lbf ft"'),
        ("[shown]\nforce = 1", 'force is 1; write "N" or "lbf"'),
        ('shown = "mm"', r"shown is no table; write \[shown\] on a line of its own"),
        ("[shown", "not valid TOML"),
    ],
)
def test_wrong_units_say_what_is_wrong(settings: Path, text: str, said: str) -> None:
    settings.write_text(text)
    with pytest.raises(SettingsError, match=said) as caught:
        shown_units()
    assert str(caught.value).startswith(str(settings))


def test_a_password_that_others_may_read_does_not_keep_units_from_being_shown(
    settings: Path,
) -> None:
    settings.write_text(
        '[mail]\nserver = "s"\nfrom = "a@b"\nto = "c@d"\nuser = "me"\npassword = "x"\n'
        '[shown]\nlength = "thou"\n'
    )
    settings.chmod(0o644)
    assert shown_units().length.name == "thou"


def test_units_alone_are_no_mailbox(settings: Path) -> None:
    settings.write_text('[shown]\nlength = "thou"\n')
    with pytest.raises(SettingsError, match=r"the table \[mail\] is missing"):
        mail_settings()


def test_the_address_of_a_card_is_kept_as_written(settings: Path) -> None:
    assert card_link() is None
    settings.write_text('[shown]\nlength = "mm"\n')
    assert card_link() is None
    settings.write_text('[card]\nlink = "http://192.168.1.20/main.html"\n')
    assert card_link() == "http://192.168.1.20/main.html"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[card]\nlnik = "x"', "lnik is not a known key; did you mean link"),
        ("[card]\nlink = 1", "link must be one line of text"),
        ('card = "x"', r"card is no table; write \[card\] on a line of its own"),
    ],
)
def test_a_wrong_card_table_says_what_is_wrong(settings: Path, text: str, said: str) -> None:
    settings.write_text(text)
    with pytest.raises(SettingsError, match=said) as caught:
        card_link()
    assert str(caught.value).startswith(str(settings))
