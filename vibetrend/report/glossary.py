"""One line for each word of the trade, told where a page first uses it."""

from markupsafe import Markup

from vibetrend.trend.phrases import capital

GLOSSES = {
    "order": "a multiple of crankshaft speed; order 1 is once per turn.",
    "firing order": "the order at which cylinders fire: half the cylinders in a four-stroke, "
    "all of them in a two-stroke.",
    "driven line": "a line that a belt- or gear-driven part leaves at a non-integer order.",
    "change": "20 lg of an amplitude over its baseline, in dB: +6 dB is twice, -6 dB half.",
    "baseline": "the check-ups right after an installation; everything is compared with them.",
    "usual scatter": "how much check-ups differ when nothing has changed, as one standard "
    "deviation; the grey bands reach two of them to either side.",
    "check-up": "the recordings of one day.",
    "placement": "one recording with the phone or sensor put on its spot.",
    "everything together": "what all orders' changes have in common in one placement; it speaks "
    "of the phone, its spot or the mounts rather than of one part.",
    "amplitude": "the rms value of an order's mean complex amplitude over the recording, all axes "
    "together, the share of noise removed.",
    "evidence": "how clearly a bend in the history stands out from scatter, in standard "
    "deviations.",
    "bend": "the engine hours at which a history leaves its level.",
    "damper resonance": "the speed and shape at which crankshaft and damper twist most; the "
    "direct sign of the damper's stiffness.",
    "file hash": "the SHA-256 of the original file; the same file gives the same hash.",
    "work": "anything done to the engine that may move levels for good; each begins a new "
    "baseline, and what was judged before it stays readable further below.",
    "run-out (TIR)": "the greatest less the least that a dial shows over one turn of the crank "
    "(total indicator reading).",
    "eccentricity": "how far the middle of a surface lies off the axis it turns about; a surface "
    "that is round but eccentric has twice that run-out.",
    "form": "what the readings differ from a true circle: a dent, a burr, an oval.",
    "run-in": "a belt's first running, in which it beds in and loses tension; it is read again "
    "after that, and tensioned anew where needed.",
    "renewal": "the damper is renewed at so many hours or years, whichever comes first.",
}


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
        lines = Markup(" ").join(form.format(capital(word), GLOSSES[word]) for word in new)
        return Markup('<p class="gloss">{}</p>').format(lines)
