"""One line for each word of the trade, told where a page first uses it."""

import re

from markupsafe import Markup

from vibetrend.trend.phrases import capital

GLOSSES = {
    "order": "a multiple of crankshaft speed; order 1 is once per turn.",
    "amplitude": "how strongly an order shakes or sounds: the rms value of its mean complex "
    "amplitude over the recording, all axes together, the share of noise removed.",
    "rms": "root mean square: of a steady tone, its peak divided by 1.41.",
    "dB": "a ratio on a scale on which +6 dB is twice and -6 dB half.",
    "baseline": "the check-ups right after an installation; everything is compared with them.",
    "usual scatter": "how much check-ups differ when nothing has changed, as one standard "
    "deviation; the grey bands reach two of them to either side.",
    "check-up": "the recordings of one day.",
    "placement": "one recording with the phone or sensor put on its spot.",
    "fast idle": "the raised idling speed, out of gear, at which every check-up is recorded.",
    "limit": "the rise of an order at which parts and damper are to be looked at: the engine "
    "file's, else a convention of this program.",
    "damper resonance": "the speed and shape at which crankshaft and damper twist most; the "
    "direct sign of the damper's stiffness.",
    "noise level": "the amplitude that noise alone would give at that order.",
    "other line": "a line that is neither an order nor a known part's: mains, a fan, another "
    "machine, or a part that the engine file does not name.",
    "overall level": "the rms value of everything in a stated band of frequencies, orders or not.",
    "spectrum": "how strong each frequency is over the whole recording.",
    "phase": "where in its own cycle an order stands at the mark it is counted from, in degrees.",
    "varies": "by how much an order's amplitude breathes within the recording, as one standard "
    "deviation.",
    "wander": "by how much the speed itself varies within the recording, as one standard "
    "deviation.",
    "renewal": "the damper is renewed at so many hours or years, whichever comes first.",
    "run-out (TIR)": "the greatest less the least that a dial shows over one turn of the crank "
    "(total indicator reading).",
    "series": "the recordings that may be compared: same spot, same phone or sensor, same speed; "
    "of run-ups the same way through the speeds.",
    "firing order": "the order at which cylinders fire: half the cylinders in a four-stroke, "
    "all of them in a two-stroke.",
    "change": "20 lg of an amplitude over its baseline, in dB.",
    "driven line": "a line that a belt- or gear-driven part leaves at a non-integer order.",
    "bend": "the engine hours at which a history leaves its level.",
    "everything together": "what all orders' changes have in common in one placement; it speaks "
    "of the phone, its spot or the mounts rather than of one part.",
    "order spectrum": "the amplitude of each order against its number.",
    "spread": "how much the speed varied within a recording: its standard deviation.",
    "standard error": "how far a measured value may lie from the true one, as one standard "
    "deviation.",
    "noticeable": "the jump that a second day would confirm in nine cases of ten.",
    "evidence (z)": "how clearly a bend in the history stands out from scatter, in standard "
    "deviations.",
    "file hash": "the SHA-256 of the original file; the same file gives the same hash.",
    "work": "anything done to the engine that may move levels for good; each begins a new "
    "baseline, and what was judged before it stays readable further below.",
    "eccentricity": "how far the middle of a surface lies off the axis it turns about; a surface "
    "that is round but eccentric has twice that run-out.",
    "form": "what the readings differ from a true circle: a dent, a burr, an oval.",
    "closing error": "what the dial shows on coming back to the first station, less what it "
    "showed there at first.",
    "run-in": "a belt's first running, in which it beds in and loses tension; it is read again "
    "after that, and tensioned anew where needed.",
    "run-up": "a slow, even rise of the speed, out of gear, recorded from its start to its end.",
    "coast-down": "a slow, even fall of the speed, recorded from its start to its end.",
    "order curve": "the amplitude of one order against the speed of the engine.",
    "order map": "how strong each order is at each speed, as a picture.",
    "natural frequency": "a frequency at which a part, once struck, goes on to swing by itself.",
    "critical speed": "a speed at which an order meets a natural frequency and is strongest.",
    "damping ratio": "how soon a swing dies away: a peak is twice this share of its own speed "
    "wide.",
    "node": "a place along the crankshaft that stands still while the rest twists to and fro.",
    "interference diagram": "orders as lines that rise with the speed, natural frequencies as "
    "level lines: where they cross lies a critical speed.",
    "vector sum": "the pushes of all cylinders at an order, each with its own turn and reach; "
    "where they cancel, the order hardly excites.",
}


# What tells that a text uses a word in its sense here, where that is not simply the word.
_USED = {
    "dB": r"\bdB\b",
    "run-out (TIR)": r"run-out|TIR",
    "firing order": r"\bfiring\b",
    "change": r"\bown change\b",
    "driven line": r"\bdriven\b",
    "everything together": r"everything together|orders together",
    "noticeable": r"noticeable|could be noticed",
    "evidence (z)": r"\bz\b",
    "file hash": r"file hash|SHA-256",
    "work": r"\b(after|since|before) the work\b",
    "form": r"\bform \d",
}


def used(text: str) -> list[str]:
    """Return the words of the trade that a text uses."""
    return [
        word
        for word in GLOSSES
        if re.search(_USED.get(word, rf"\b{re.escape(word)}s?\b"), text, re.IGNORECASE)
    ]


class Glossary:
    """Tells each word once, in the order in which a page uses them."""

    def __init__(self) -> None:
        self._told: set[str] = set()

    def tell(self, *words: str) -> Markup:
        """Return the glosses of those words that were not told yet, as one small paragraph."""
        new = [word for word in words if word not in self._told]
        self._told.update(new)
        if not new:
            return Markup("")
        form = Markup("<span><dfn>{}</dfn>: {}</span>")
        lines = Markup(" ").join(
            form.format(word if word == "dB" else capital(word), GLOSSES[word]) for word in new
        )
        return Markup('<p class="gloss">{}</p>').format(lines)
