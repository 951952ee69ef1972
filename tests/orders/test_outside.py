"""The order estimator against numbers from outside the project."""

import math

import enso
import numpy as np
import pytest
from invented_recordings import rows
from numpy.testing import assert_allclose
from scipy.interpolate import CubicSpline
from scipy.signal import periodogram

from vibetrend.orders import Measurement, measure
from vibetrend.orders.fit import LineFit, fit_lines, phasors
from vibetrend.orders.lines import OtherLine, retuned
from vibetrend.orders.spectrum import grid, transform
from vibetrend.recording import FloatArray, Recording

# The ridge that keeps inseparable lines finite is 1e-9 of the diagonal.
RIDGE = 2e-9


def fitted(periods: FloatArray) -> LineFit:
    frequencies = 1 / periods
    return fit_lines(enso.PRESSURE[:, np.newaxis], phasors(enso.MONTH, frequencies))


def test_nist_enso_coefficients_at_the_certified_periods() -> None:
    fit = fitted(enso.PERIODS)
    assert_allclose(fit.amplitude[:, 0], enso.COSINES - 1j * enso.SINES, rtol=RIDGE)
    assert_allclose(np.sum(fit.residual**2), enso.SUM_OF_SQUARES, rtol=1e-11)  # digits certified
    waves = (fit.amplitude * phasors(enso.MONTH, 1 / enso.PERIODS)).real.sum(axis=0)
    mean = np.mean(enso.PRESSURE - fit.residual[:, 0] - waves)
    assert mean == pytest.approx(enso.MEAN, rel=RIDGE)


@pytest.mark.parametrize("start", [enso.FAR_START, enso.NEAR_START])
def test_nist_enso_periods_are_found_from_its_starts(start: tuple[float, float]) -> None:
    """Step by step, as lines beside the orders are tuned; the two unknown cycles 2.5 bins apart.

    Each line steps by itself, so neighbours so near halve their error with each round.
    """
    lines = [OtherLine(1 / period, follows_crank=False) for period in start]
    for _ in range(40):
        places = np.array([1 / 12, *(line.place for line in lines)])
        fit = fitted(1 / places)
        lines = retuned(
            lines,
            time=enso.MONTH,
            theta=enso.MONTH,
            phasor=phasors(enso.MONTH, places[1:]),
            amplitude=fit.amplitude[1:],
            residual=fit.residual,
            density=np.ones((2, 1)),
        )
    assert_allclose([1 / line.place for line in lines], enso.PERIODS[1:], rtol=RIDGE)
    assert_allclose(np.sum(fit.residual**2), enso.SUM_OF_SQUARES, rtol=1e-11)


def off_bin(bins: float, *, hann: bool) -> float:
    """Return what the transform shows, in the bin at 100 Hz, of a line of 1 so far off it."""
    time = np.arange(16_384) / 1024  # 16 s, a fast length: bins of 1 / 16 Hz
    line = np.cos(2 * np.pi * (100 + bins / 16) * time)[:, np.newaxis]
    gridded = grid(time, line, top=200.0, even_rate=1024.0)
    _, spectrum = transform(gridded, top=200.0, padding=1, hann=hann)
    return float(np.abs(spectrum[0, 1600]))


@pytest.mark.parametrize(
    ("bins", "share"),
    [(0.1, 0.993567), (0.25, 0.960337), (0.5, 0.848826), (0.5, 10 ** (-1.4236 / 20))],
)
def test_hann_loses_off_bin_what_theory_says(bins: float, share: float) -> None:
    """sinc(d) / (1 - d^2); scalloping of 1.4236 dB (Harris, Proc. IEEE 66, 1978, Table I)."""
    # A symmetric window's mean is 1 / 16384 below that of Table I
    assert off_bin(bins, hann=True) == pytest.approx(share, rel=1e-4)


def test_no_window_loses_off_bin_what_theory_says() -> None:
    """Scalloping of 3.9224 dB = 20 lg(pi / 2) (Harris, Proc. IEEE 66, 1978, Table I)."""
    # The mirror line, 3200 bins away, leaks 1 / (3200 pi)
    assert off_bin(0.5, hann=False) == pytest.approx(10 ** (-3.9224 / 20), rel=2e-4)


def test_a_tuned_line_scatters_in_frequency_and_phase_as_the_bound_says() -> None:
    """Rife & Boorstyn, IEEE Trans. IT-20 (1974); Kay, Estimation Theory, ex. 3.14.

    N = 1024, A = 1, s = 0.1, f = 0.05: sd f 2.3794e-6 cycles per sample, sd phase 0.0088324. The
    sd of 400 runs scatters by 1 / sqrt(800) = 3.5 %; three times that is allowed.
    """
    rng = np.random.default_rng(130)
    step = np.arange(1024.0)
    clean = np.cos(2 * np.pi * 0.05 * step + 0.3)
    places, starts = [], []
    for _ in range(400):
        noisy = (clean + 0.1 * rng.standard_normal(1024))[:, np.newaxis]
        line = OtherLine(0.05, follows_crank=False)
        for _ in range(2):
            fit, line = tuned(noisy, step, line)
        places.append(line.place)
        starts.append(float(np.angle(fit.amplitude[0, 0])))
    assert np.std(places) == pytest.approx(2.3794e-6, rel=0.106)
    assert np.std(starts) == pytest.approx(0.0088324, rel=0.106)
    assert np.mean(places) == pytest.approx(0.05, abs=4 * 2.3794e-6 / 20)


def tuned(samples: FloatArray, time: FloatArray, line: OtherLine) -> tuple[LineFit, OtherLine]:
    """Fit one line, then move it by one step."""
    phasor = phasors(time, np.array([line.place]))
    fit = fit_lines(samples, phasor)
    (moved,) = retuned(
        [line],
        time=time,
        theta=time,
        phasor=phasor,
        amplitude=fit.amplitude,
        residual=fit.residual,
        density=np.ones((1, 1)),
    )
    return fit, moved


@pytest.mark.parametrize(("drift_hz", "loss_db"), [(0.1, -0.24), (0.2, -0.97), (0.5, -6.43)])
def test_drift_costs_a_constant_speed_what_theory_says_and_the_track_nothing(
    drift_hz: float, loss_db: float
) -> None:
    """A line that drifts evenly through 10 s, read at its middle frequency: Fresnel's integral."""
    time = np.arange(7000) / 700
    turns = 25 * time + drift_hz / 20 * (time - 5) ** 2
    sizes = np.array([1.0, 0.5, 0.2, 0.1])
    constant = fit_lines(
        np.cos(2 * np.pi * turns)[:, np.newaxis], phasors(25 * time, np.array([1.0]))
    )
    assert 20 * math.log10(abs(constant.amplitude[0, 0])) == pytest.approx(loss_db, abs=0.006)
    wave = np.cos(2 * np.pi * np.outer(turns, [1.0, 1.5, 3.0, 6.0]) + np.arange(4.0)) @ sizes
    wave += 0.01 * np.random.default_rng(131).standard_normal(time.size)
    followed = rows(measure(Recording(wave, sample_rate=700, rpm=1480)))
    found = [math.sqrt(2) * followed[order]["amplitude"] for order in (1.0, 1.5, 3.0, 6.0)]
    assert_allclose(found, sizes, atol=4 * 0.01 * math.sqrt(2 / time.size))


def test_velocity_of_1_m_s2_at_each_order() -> None:
    """v = a / (2 pi f): 1 m/s^2 rms at 8.3333 to 100 Hz, exact, all in one recording."""
    mm_s = {0.5: 19.098593, 1: 9.549297, 1.5: 6.366198, 2: 4.774648, 3: 3.183099, 6: 1.591549}
    time = np.arange(10_000) / 1000
    wave = np.cos(2 * np.pi * np.outer(1000 / 60 * time, list(mm_s)) + np.arange(6.0)).sum(axis=1)
    table = rows(measure(Recording(math.sqrt(2) * wave, sample_rate=1000, rpm=990)))
    assert_allclose(
        [table[order]["velocity_mm_s"] for order in mm_s], list(mm_s.values()), rtol=1e-6
    )


def engine(turns: FloatArray, waveform: FloatArray, noise: float) -> Measurement:
    """Measure a waveform of 4096 points over two turns, repeated along the turns of 7 s."""
    points = np.arange(-2, 4099)
    # A cubic through four points, 2048 to the turn: 1e-9 even at order 24
    wave = CubicSpline(points / 2048, waveform[points % 4096])(turns % 2)
    wave += noise * np.random.default_rng(132).standard_normal(turns.size)
    return measure(Recording(wave, sample_rate=900, rpm=1040))


TIME = np.arange(6300) / 900
HUNTING = 17.03 * TIME + 0.02 * np.sin(2 * np.pi * 0.3 * TIME)
HALF_ORDERS = np.arange(1, 25) / 2
CIRCLE = np.arange(4096) / 2048  # turns, an engine cycle


def test_slider_crank() -> None:
    """Piston acceleration over r w^2, r / l = 1 / 3.5.

    Order 2: q + q^3 / 4 + 15 q^5 / 128 + 35 q^7 / 512, order 4: -(q^3 / 4 + 3 q^5 / 16), q = r / l
    (Taylor, The Internal-Combustion Engine, vol. 2; Den Hartog, Mechanical Vibrations, ch. 5).
    """
    angle, ratio = 2 * np.pi * CIRCLE, 1 / 3.5
    sine, cosine, rest = np.sin(angle), np.cos(angle), np.sqrt(1 - (ratio * np.sin(angle)) ** 2)
    exact = cosine + ratio * (np.cos(2 * angle) * rest**2 + (ratio * sine * cosine) ** 2) / rest**3
    found = engine(HUNTING, exact, 1e-4).orders
    # 5e-5 is 0.0004 dB; what the knots of the track, 0.15 s apart, leave of the hunting
    peak = dict(zip(found["order"], math.sqrt(2) * found["amplitude"], strict=True))
    assert peak[1.0] == pytest.approx(1, abs=5e-5)
    assert peak[2.0] == pytest.approx(0.291780, abs=5e-5)
    assert peak[4.0] == pytest.approx(0.006188, abs=5e-5)
    assert max(peak[k] for k in (0.5, 1.5, 2.5, 3.0, 5.0, 7.0)) < 5e-5


EVEN_SIX = (0, 120, 240, 360, 480, 600)
ONE_WEAK = (0.75, 1, 1, 1, 1, 1)
TAPERED = (6, 2, 4, 1, 5, 3)  # cylinder 1 counts 6, 6 counts 1; they fire 1-5-3-6-2-4


@pytest.mark.parametrize(
    ("degrees", "sizes", "sums"),
    [
        pytest.param(
            EVEN_SIX, ONE_WEAK, {0.5: 0.25, 1: 0.25, 2.5: 0.25, 3: 5.75, 6: 5.75}, id="weak one"
        ),
        pytest.param(
            EVEN_SIX, TAPERED, {0.5: 3.4641, 1: 0, 1.5: 9, 2: 0, 2.5: 3.4641, 3: 21}, id="tapered"
        ),
        pytest.param(
            (0, 90, 240, 330, 480, 570),
            (1,) * 6,
            {0.5: 0, 1: 0, 1.5: 2.2961, 3: 4.2426, 4.5: 5.5433, 6: 0, 7.5: 5.5433},
            id="vee of 90 degrees, shared pins",
        ),
        pytest.param(
            (0, 270, 450, 540),
            (1,) * 4,
            {0.5: 1.0824, 1: 0, 1.5: 2.6131, 2: 0, 2.5: 2.6131, 3.5: 1.0824, 4: 4},
            id="one bank of a cross-plane eight",
        ),
    ],
)
def test_vector_sums_of_firing(
    degrees: tuple[int, ...], sizes: tuple[float, ...], sums: dict[float, float]
) -> None:
    """Sum of sizes exp(j k angle) (Den Hartog, Mechanical Vibrations, ch. 5; Ker Wilson).

    Each cylinder fires a bell of 0.05 turns, whose own lines fall off as exp(-2 pi^2 k^2 0.05^2).
    """
    width = 0.05
    after = (CIRCLE[:, np.newaxis] - np.array(degrees) / 360 + 1) % 2 - 1
    found = engine(HUNTING, np.exp(-((after / width) ** 2) / 2) @ np.array(sizes), 1e-4)
    bell = width * np.sqrt(np.pi) * np.exp(-2 * (np.pi * HALF_ORDERS * width) ** 2)  # rms
    shown = dict(zip(HALF_ORDERS, found.orders["amplitude"] / bell, strict=True))
    # Noise of 1e-4 has an amplitude of 1e-4 / sqrt(6300) = 1e-6: 1e-5 of the bell at order 1
    assert_allclose([shown[k] for k in sums], list(sums.values()), rtol=1e-4, atol=2e-3)


def test_equals_the_periodogram_over_whole_turns() -> None:
    """scipy's periodogram, scaled as a spectrum: the rms of a line is the root of its bin."""
    rng = np.random.default_rng(133)
    time = np.arange(9000) / 900  # 160 turns
    sizes = rng.uniform(0.1, 1, (24, 2))
    wave = np.cos(2 * np.pi * np.outer(16 * time, HALF_ORDERS) + rng.uniform(0, 6, 24)) @ sizes
    wave += 0.3 * rng.standard_normal(wave.shape)
    table = measure(Recording(wave, sample_rate=900, rpm=970)).orders
    hertz, power = periodogram(wave, 900, scaling="spectrum", axis=0)
    bins = (160 * HALF_ORDERS).astype(int)
    assert_allclose(hertz[bins], 16 * HALF_ORDERS)
    with_noise = np.hypot(table["amplitude"], table["floor"])
    # The speed is found, not known: it takes up some of the noise, so that orders read less
    bound = 0.3 / math.sqrt(9000)
    assert_allclose(with_noise, np.sqrt(power[bins].sum(axis=1)), atol=0.35 * bound)
