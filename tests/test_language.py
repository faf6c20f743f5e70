"""The language pack: numbers, lists and time calls as they are spoken."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from typing import Any

import pytest

from cuelane.base.errors import UsageError
from cuelane.base.language import (
    Language,
    available_languages,
    fill,
    load_language,
    locale_of,
    own_names,
)

ENGLISH = load_language("en")


@pytest.mark.parametrize(
    ("value", "words"), [(0, "zero"), (13, "thirteen"), (20, "twenty"), (45, "forty-five"), (90, "ninety")]
)
def test_numbers_are_words(value: int, words: str) -> None:
    """Numbers below a hundred are spelled out, so that no voice has to guess."""
    assert ENGLISH.number(value) == words


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("en", "twenty-one"), ("es", "veintiuno"), ("fr", "vingt et un"), ("it", "ventuno"),
        ("pt-BR", "vinte e um"), ("de", "einundzwanzig"), ("xx", "21"),
        # A region of its own, one that its language speaks for, and one of a language that is not there.
        ("es-CO", "veintiuno"), ("pt-PT", "vinte e um"), ("xx-BR", "21"),
    ],
)  # fmt: skip
def test_a_language_needs_no_number_code(code: str, words: str) -> None:
    """A pack of phrases alone speaks numbers in its language; in one that num2words lacks, in digits."""
    assert Language(code, {}).number(21) == words
    assert Language(code, {}).number(120) == "120"


def test_each_language_is_called_as_it_calls_itself() -> None:
    """The names that are kept are those of Unicode CLDR (from Babel), with the capital of a heading."""
    assert list(own_names()) == available_languages()
    for code, name in own_names().items():
        known = str(locale_of(code).get_display_name(code.replace("-", "_")))
        assert name == known[:1].upper() + known[1:]


def test_a_thing_spoken_of_before_is_the_thing() -> None:
    """Only an article or "one" gives way; a count and an owner stay."""
    told = [
        ENGLISH.definite(thing) for thing in ("one kettlebell", "a long band", "An oar", "two bells", "chalk")
    ]
    assert told == ["the kettlebell", "the long band", "the oar", "the two bells", "the chalk"]


def test_a_sentence_inside_another_has_no_capital_of_its_own() -> None:
    """But for a word that is written with one, or in capitals, wherever it stands."""
    inside = [
        ENGLISH.inside(text) for text in ("Bend less.", "I count for you.", "TRX rows.", "I'll wait.", "")
    ]
    assert inside == ["bend less.", "I count for you.", "TRX rows.", "I'll wait.", ""]


def test_lists_are_joined_with_and() -> None:
    """One, two or three things."""
    assert [ENGLISH.listing(["a"]), ENGLISH.listing(["a", "b"]), ENGLISH.listing(["a", "b", "c"])] == [
        "a",
        "a and b",
        "a, b and c",
    ]


def test_a_region_falls_back_to_its_language() -> None:
    """en-GB speaks English."""
    assert load_language("en-GB").code == "en"
    assert load_language("pt").code == load_language("PT-br").code == "pt-BR"


def test_an_unknown_language_is_a_usage_error() -> None:
    """It names what there is."""
    with pytest.raises(UsageError, match=r"no words for language 'xx'; there are: .*en"):
        load_language("xx")
    assert "en" in available_languages()


def test_every_sentence_of_a_phrase_begins_with_a_capital() -> None:
    """A side or a name is capitalised only where a sentence begins; braces in names are kept."""
    assert ENGLISH.say("side_change", "switch", side="right") == "Switch. Right side."
    assert ENGLISH.say("announce", "exercise", exercise="{odd} name") == "{odd} name."
    assert fill("Stay tall. {side} foot back, {side} knee soft. “{side}?”", {"side": "élan"}) == (
        "Stay tall. Élan foot back, élan knee soft. “Élan?”"
    )
    assert fill("About 2.5 {unit}: {unit}", {"unit": "kilos"}) == "About 2.5 kilos: kilos"


def _pack(code: str) -> dict[str, Any]:
    file = resources.files("cuelane") / "languages" / f"{code}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def _slots(entry: Any) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", str(entry)))


@pytest.mark.parametrize("code", available_languages())
def test_a_pack_says_all_that_the_program_can_say(code: str) -> None:
    """Every pack has the keys of the English one, and says all that is told there: no slot more, none less.

    A slot may be in another form of its word, and {text} may stand for {inner}.
    """
    english, pack = _pack("en"), _pack(code)
    assert {(section, key) for section in pack for key in pack[section]} == {
        (section, key) for section in english for key in english[section]
    }
    side_forms, number_forms = pack["sides"]["forms"], pack["numbers"]["forms"]
    for section in english:
        if section not in ("lint", "numbers", "lists"):
            for key, entry in english[section].items():
                if key != "forms":
                    told = {_base(slot, {*side_forms, *number_forms}) for slot in _slots(pack[section][key])}
                    wanted = {_base(slot, set()) for slot in _slots(entry)}
                    assert told == wanted, (section, key)


def _base(slot: str, forms: set[str]) -> str:
    base, _, form = slot.rpartition("_")
    slot = base if base and form in forms else slot
    return "text" if slot == "inner" else slot


@pytest.mark.parametrize("code", available_languages())
def test_a_packs_tables_hold_together(code: str) -> None:
    """Every form of a side has both sides, every rule compiles, every plural has both kinds."""
    pack = _pack(code)
    for words in pack["sides"]["forms"].values():
        assert set(words) == {"left", "right"}
    rules = [rule for rows in pack["numbers"]["forms"].values() for rule in rows]
    for pattern, put in (*rules, *pack["lists"]["euphony"], *pack["lists"]["definite"]):
        assert re.sub(pattern, put, "zzz") in ("zzz", "the zzz")
    lists = [*pack["lint"].values(), *(pack["positions"][key] for key in ("back", "hands", "front", "floor"))]
    for pattern in (
        *(row for rows in lists for row in rows),
        *pack["handling"]["fixed"],
        *pack["handling"]["slow"],
    ):
        assert not re.compile(pattern, re.I).search("")
    for section, entries in pack.items():
        for key, entry in entries.items():
            if isinstance(entry, dict) and key != "forms":
                assert set(entry) == {"one", "other"}, (section, key)


def test_words_change_with_their_noun() -> None:
    """Number words and sides have the gender of what they count or stand by."""
    spanish, portuguese = load_language("es"), load_language("pt-BR")
    assert spanish.say("durations", "minutes", count=21, n=spanish.number(21)) == "Veintiún minutos"
    assert spanish.say("closing", "done", n=spanish.number(21)).endswith("veintiuna series de trabajo.")
    assert portuguese.say("closing", "done", n=portuguese.number(22)).endswith(
        "vinte e duas séries de trabalho."
    )
    assert (
        fill("Pierna {side_f}, pie {side}.", {"side": spanish.side("left")})
        == "Pierna izquierda, pie izquierdo."
    )
    german = load_language("de").side("right")
    assert (
        fill("{side_r} Fuß, mit {side_m} Arm, {side_x}.", {"side": german})
        == "Rechter Fuß, mit rechtem Arm, rechts."
    )


@pytest.mark.parametrize(
    ("code", "thing", "told"),
    [
        ("es", "una mancuerna", "la mancuerna"), ("es", "dos discos", "los dos discos"),
        ("fr", "un élastique", "l'élastique"), ("fr", "une chaise", "la chaise"),
        ("fr", "un haltère", "l'haltère"), ("fr", "une haie", "la haie"), ("fr", "un harnais", "le harnais"),
        ("fr", "deux haltères", "les deux haltères"), ("it", "uno step", "lo step"),
        ("it", "un elastico", "l'elastico"), ("it", "due manubri", "i due manubri"),
        ("pt-BR", "uma cadeira", "a cadeira"), ("pt-BR", "dois halteres", "os dois halteres"),
        ("de", "eine Kurzhantel", "Kurzhantel"), ("de", "zwei Hanteln", "zwei Hanteln"),
    ],
)  # fmt: skip
def test_a_thing_spoken_of_before_has_its_article(code: str, thing: str, told: str) -> None:
    """By the gender that its first article shows; German leaves it out, since it cannot be told there."""
    assert load_language(code).definite(thing) == told


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("en", "one minute thirty seconds"), ("es", "un minuto y treinta segundos"),
        ("fr", "une minute et trente secondes"), ("it", "un minuto e trenta secondi"),
        ("pt-BR", "um minuto e trinta segundos"), ("de", "eine Minute und dreißig Sekunden"),
    ],
)  # fmt: skip
def test_a_length_is_one_phrase(code: str, told: str) -> None:
    """Minutes and seconds are joined as the language joins them."""
    assert load_language(code).duration(90_000) == told


@pytest.mark.parametrize(
    ("length_ms", "told"),
    [
        (200, "one second"), (499, "one second"), (0, "zero seconds"),
        (2_499, "two seconds"), (2_500, "three seconds"), (3_500, "four seconds"),
        (40_500, "forty-one seconds"), (41_500, "forty-two seconds"),
        (59_499, "fifty-nine seconds"), (59_500, "one minute"), (60_500, "one minute one second"),
    ],
)  # fmt: skip
def test_a_length_is_told_to_the_nearest_second(length_ms: int, told: str) -> None:
    """Halves up, whether the second before is odd or even; what lasts at all lasts no zero seconds."""
    assert ENGLISH.duration(length_ms) == told


def test_a_list_sounds_right() -> None:
    """Spanish says "e" before the sound of i."""
    assert load_language("es").listing(["aguja", "hilo"]) == "aguja e hilo"
    assert load_language("es").listing(["agua", "hielo"]) == "agua y hielo"


# Of our own: what a class is told in each place, and what is told to somebody who stands.
PLACES = {
    "en": {
        "back": ["Lie on your back.", "Swing your legs up the wall."], "hands": ["On hands and knees."],
        "front": ["On your front.", "Plank, hands under your shoulders."],
        "floor": [
            "Pigeon, on the floor.", "On your forearms, knees wide.",
            "Left knee on the towel, other foot in front.",
            "Sit with your legs long, and fold from the hips.", "Sit cross-legged.", "Lie on your side.",
        ],
        None: [
            "Both feet flat on the floor.", "Rest the bar on your forearms.", "Leave the bell on the floor.",
            "Sit tall on your chair, feet on the floor.", "One foot up against the wall.",
            "Hands on your back.",
            "Sit back, your legs as long as you like.", "A towel under your heels.",
        ],
    },
    "es": {
        "back": ["Túmbate boca arriba.", "De espaldas en el suelo.", "Sube las piernas por la pared.",
            "Piernas en la pared."],
        "hands": ["Pasa a cuatro apoyos."],
        "front": ["Boca abajo.", "Plancha, codos debajo de los hombros."],
        "floor": [
            "Tumbada de lado.", "De costado en el suelo.", "Ponte de rodillas.", "Antebrazos en el piso.",
            "Recuéstate en la colchoneta.", "Sentada con las piernas estiradas.",
            "Siéntate con las piernas cruzadas.",
            "La rodilla sobre la toalla, el otro pie delante.",
        ],
        None: [
            "Los pies bien apoyados en el suelo.", "Mira de lado a lado.", "Da un paso de lado.",
            "De espaldas a la pared.", "Palmas boca arriba.", "Pies debajo de los hombros.",
            "Mano sobre la espalda.", "Deja las pesas en el piso.",
        ],
    },
    "fr": {
        "back": ["Allongez-vous sur le dos.", "Les jambes contre le mur.", "Jambes au mur."],
        "hands": ["À quatre pattes."],
        "front": ["Sur le ventre.", "Les mains sous les épaules."],
        "floor": [
            "Roulez sur le côté.", "Allongée, les bras le long du corps.", "À genoux.",
            "Assise en tailleur.", "Asseyez-vous, les jambes allongées.",
        ],
        None: [
            "Les deux pieds à plat au sol.", "Un pas sur le côté.", "Mains sur le ventre.",
            "Pieds sous les épaules.", "La jambe allongée derrière vous.", "Sac à dos sur le dos.",
        ],
    },
    "it": {
        "back": ["Sulla schiena.", "Posizione supina.", "Le gambe contro il muro.",
            "Gambe alla parete."],
        "hands": ["In quadrupedia."],
        "front": ["A pancia in giù.", "Mani sotto le spalle."],
        "floor": [
            "Sdraiata, girati sul fianco.", "Gomiti a terra.", "Disteso a terra.", "Siediti per terra.",
            "Gomiti sul materassino.", "Seduto a gambe tese.", "Siediti a gambe incrociate.",
            "Ginocchio sull'asciugamano.",
        ],
        None: [
            "I due piedi ben appoggiati a terra.", "Una mano sul fianco.", "Presa prona sul manubrio.",
            "La gamba distesa in avanti.", "Piedi sotto le spalle.", "Lo zaino sulla schiena.",
        ],
    },
    "pt-BR": {
        "back": ["Deite de costas.", "Barriga para cima.", "Pernas na parede.",
            "Pernas para cima na parede."],
        "hands": ["Em quatro apoios."],
        "front": ["De bruços.", "Mãos embaixo dos ombros."],
        "floor": [
            "Deitada, joelhos dobrados.", "De joelhos.", "Sente-se no colchonete.",
            "Sentado com as pernas cruzadas.", "Sente-se com as pernas esticadas.",
        ],
        None: [
            "Os dois pés bem apoiados no chão.", "Costas na parede, coxas paralelas.",
            "De costas para a parede.", "Pés embaixo dos ombros.",
            "Deixe a mochila no chão.",
        ],
    },
    "de": {
        "back": ["In Rückenlage.", "Leg dich auf den Rücken.", "Streck die Beine an der Wand hoch.",
            "Die Beine an die Wand."],
        "hands": ["Im Vierfüßlerstand."],
        "front": ["In Bauchlage.", "Die Hände unter die Schultern."],
        "floor": [
            "In Seitenlage.", "Roll dich auf die Seite.", "Im Kniestand.", "Im Schneidersitz.",
            "Setz dich in den Schneidersitz.",
            "Das Knie auf ein gefaltetes Handtuch.",
        ],
        None: [
            "Beide Füße fest auf den Boden.", "Die Hände auf den Bauch.", "Leg das Gewicht auf die Seite.",
            "Füße unter die Schultern.", "Den Rücken an die Wand.", "Der Rucksack auf dem Rücken.",
        ],
    },
}  # fmt: skip


@pytest.mark.parametrize("code", PLACES)
def test_only_who_is_on_the_floor_is_held_to_lie_there(code: str) -> None:
    """Each place is known by what is said in it; feet on the floor, or a hand on the belly, tell of none."""
    words = load_language(code)
    for place, lines in PLACES[code].items():
        for line in lines:
            found = (
                kind
                for kind in ("back", "hands", "front", "floor")
                if any(re.search(entry, line, re.I) for entry in words.phrases("positions", kind))
            )
            assert next(found, None) == place, line
