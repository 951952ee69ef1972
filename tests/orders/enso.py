"""The ENSO problem of the NIST Statistical Reference Datasets, nonlinear regression.

Monthly differences of atmospheric pressure between Easter Island and Darwin, Australia (Kahaner,
Moler & Nash, Numerical Methods and Software, 1989, pp. 441-445), which hold an annual cycle and
two of unknown period:

    y = b1 + b2 cos(2 pi t / 12) + b3 sin(2 pi t / 12)
           + b5 cos(2 pi t / b4) + b6 sin(2 pi t / b4) + b8 cos(2 pi t / b7) + b9 sin(2 pi t / b7)

All values below are NIST's: data to the digits given, results certified to 11 digits.
"""

import numpy as np

MONTH = np.arange(1.0, 169.0)
PRESSURE = np.array(
    [
        12.9, 11.3, 10.6, 11.2, 10.9, 7.5, 7.7, 11.7, 12.9, 14.3, 10.9, 13.7, 17.1, 14.0,
        15.3, 8.5, 5.7, 5.5, 7.6, 8.6, 7.3, 7.6, 12.7, 11.0, 12.7, 12.9, 13.0, 10.9,
        10.4, 10.2, 8.0, 10.9, 13.6, 10.5, 9.2, 12.4, 12.7, 13.3, 10.1, 7.8, 4.8, 3.0,
        2.5, 6.3, 9.7, 11.6, 8.6, 12.4, 10.5, 13.3, 10.4, 8.1, 3.7, 10.7, 5.1, 10.4,
        10.9, 11.7, 11.4, 13.7, 14.1, 14.0, 12.5, 6.3, 9.6, 11.7, 5.0, 10.8, 12.7, 10.8,
        11.8, 12.6, 15.7, 12.6, 14.8, 7.8, 7.1, 11.2, 8.1, 6.4, 5.2, 12.0, 10.2, 12.7,
        10.2, 14.7, 12.2, 7.1, 5.7, 6.7, 3.9, 8.5, 8.3, 10.8, 16.7, 12.6, 12.5, 12.5,
        9.8, 7.2, 4.1, 10.6, 10.1, 10.1, 11.9, 13.6, 16.3, 17.6, 15.5, 16.0, 15.2, 11.2,
        14.3, 14.5, 8.5, 12.0, 12.7, 11.3, 14.5, 15.1, 10.4, 11.5, 13.4, 7.5, 0.6, 0.3,
        5.5, 5.0, 4.6, 8.2, 9.9, 9.2, 12.5, 10.9, 9.9, 8.9, 7.6, 9.5, 8.4, 10.7,
        13.6, 13.7, 13.7, 16.5, 16.8, 17.1, 15.4, 9.5, 6.1, 10.1, 9.3, 5.3, 11.2, 16.6,
        15.6, 12.0, 11.5, 8.6, 13.8, 8.7, 8.6, 8.6, 8.7, 12.8, 13.2, 14.0, 13.4, 14.8,
    ]
)  # fmt: skip

MEAN = 10.510749193  # b1
PERIODS = np.array([12.0, 44.311088700, 26.887614440])  # months; the first is given, b4, b7
COSINES = np.array([3.0762128085, -1.6231428586, 0.21232288488])  # b2, b5, b8
SINES = np.array([0.53280138227, 0.52554493756, 1.4966870418])  # b3, b6, b9
SUM_OF_SQUARES = 788.53978668  # of the residuals
FAR_START, NEAR_START = (40.0, 25.0), (44.0, 26.0)  # b4, b7 to begin with
