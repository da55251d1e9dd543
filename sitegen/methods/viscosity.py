"""Viscosity index of an oil (ASTM D2270) and its viscosity at any temperature (ASTM D341), from 40 and 100 degC.

L and H, the viscosities at 40 degC of oils of index 0 and 100 with the same viscosity at 100 degC, are tabulated in the
standard (table 1, between which it interpolates linearly) and given by its equations 1 and 2 above 70 mm2/s.
"""

from __future__ import annotations

import math
from bisect import bisect_right

from sitegen.vocabulary import Refused

# Table 1 of ASTM D2270, Standard practice for calculating viscosity index from kinematic viscosity at 40 and 100 degC:
# viscosity at 100 degC, L, H [mm2/s]; as carried by Caleb Bell, `chemicals` (PyPI, module viscosity), whose notice is:
#   MIT License. Copyright (C) 2016, 2017, 2018, 2019, 2020, 2021 Caleb Bell <Caleb.Andrew.Bell@gmail.com>
#   Permission is hereby granted, free of charge, to any person obtaining a copy of this software and associated
#   documentation files (the "Software"), to deal in the Software without restriction, including without limitation the
#   rights to use, copy, modify, merge, publish, distribute, sublicense, and/or sell copies of the Software, and to
#   permit persons to whom the Software is furnished to do so, subject to the following conditions:
#   The above copyright notice and this permission notice shall be included in all copies or substantial portions of the
#   Software. THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT
#   LIMITED TO THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT
#   SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF
#   CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN
#   THE SOFTWARE.
_TABLE = """\
2 7.994 6.394; 2.1 8.64 6.894; 2.2 9.309 7.41; 2.3 10 7.944; 2.4 10.71 8.496; 2.5 11.45 9.063; 2.6 12.21 9.647
2.7 13 10.25; 2.8 13.8 10.87; 2.9 14.63 11.5; 3 15.49 12.15; 3.1 16.36 12.82; 3.2 17.26 13.51; 3.3 18.18 14.21
3.4 19.12 14.93; 3.5 20.09 15.66; 3.6 21.08 16.42; 3.7 22.09 17.19; 3.8 23.13 17.97; 3.9 24.19 18.77; 4 25.32 19.56
4.1 26.5 20.37; 4.2 27.75 21.21; 4.3 29.07 22.05; 4.4 30.48 22.92; 4.5 31.96 23.81; 4.6 33.52 24.71; 4.7 35.13 25.63
4.8 36.79 26.57; 4.9 38.5 27.53; 5 40.23 28.49; 5.1 41.99 29.46; 5.2 43.76 30.43; 5.3 45.53 31.4; 5.4 47.31 32.37
5.5 49.09 33.34; 5.6 50.87 34.32; 5.7 52.64 35.29; 5.8 54.42 36.26; 5.9 56.2 37.23; 6 57.97 38.19; 6.1 59.74 39.17
6.2 61.52 40.15; 6.3 63.32 41.13; 6.4 65.18 42.14; 6.5 67.12 43.18; 6.6 69.16 44.24; 6.7 71.29 45.33; 6.8 73.48 46.44
6.9 75.72 47.51; 7 78 48.57; 7.1 80.25 49.61; 7.2 82.39 50.69; 7.3 84.53 51.78; 7.4 86.66 52.88; 7.5 88.85 53.98
7.6 91.04 55.09; 7.7 93.2 56.2; 7.8 95.43 57.31; 7.9 97.72 58.45; 8 100 59.6; 8.1 102.3 60.74; 8.2 104.6 61.89
8.3 106.9 63.05; 8.4 109.2 64.18; 8.5 111.5 65.32; 8.6 113.9 66.48; 8.7 116.2 67.64; 8.8 118.5 68.79; 8.9 120.9 69.94
9 123.3 71.1; 9.1 125.7 72.27; 9.2 128 73.42; 9.3 130.4 74.57; 9.4 132.8 75.73; 9.5 135.3 76.91; 9.6 137.7 78.08
9.7 140.1 79.27; 9.8 142.7 80.46; 9.9 145.2 81.67; 10 147.7 82.87; 10.1 150.3 84.08; 10.2 152.9 85.3; 10.3 155.4 86.51
10.4 158 87.72; 10.5 160.6 88.95; 10.6 163.2 90.19; 10.7 165.8 91.4; 10.8 168.5 92.65; 10.9 171.2 93.92
11 173.9 95.19; 11.1 176.6 96.45; 11.2 179.4 97.71; 11.3 182.1 98.97; 11.4 184.9 100.2; 11.5 187.6 101.5
11.6 190.4 102.8; 11.7 193.3 104.1; 11.8 196.2 105.4; 11.9 199 106.7; 12 201.9 108; 12.1 204.8 109.4; 12.2 207.8 110.7
12.3 210.7 112; 12.4 213.6 113.3; 12.5 216.6 114.7; 12.6 219.6 116; 12.7 222.6 117.4; 12.8 225.7 118.7
12.9 228.8 120.1; 13 231.9 121.5; 13.1 235 122.9; 13.2 238.1 124.2; 13.3 241.2 125.6; 13.4 244.3 127; 13.5 247.4 128.4
13.6 250.6 129.8; 13.7 253.8 131.2; 13.8 257 132.6; 13.9 260.1 134; 14 263.3 135.4; 14.1 266.6 136.8; 14.2 269.8 138.2
14.3 273 139.6; 14.4 276.3 141; 14.5 279.6 142.4; 14.6 283 143.9; 14.7 286.4 145.3; 14.8 289.7 146.8; 14.9 293 148.2
15 296.5 149.7; 15.1 300 151.2; 15.2 303.4 152.6; 15.3 306.9 154.1; 15.4 310.3 155.6; 15.5 313.9 157; 15.6 317.5 158.6
15.7 321.1 160.1; 15.8 324.6 161.6; 15.9 328.3 163.1; 16 331.9 164.6; 16.1 335.5 166.1; 16.2 339.2 167.7
16.3 342.9 169.2; 16.4 346.6 170.7; 16.5 350.3 172.3; 16.6 354.1 173.8; 16.7 358 175.4; 16.8 361.7 177
16.9 365.6 178.6; 17 369.4 180.2; 17.1 373.3 181.7; 17.2 377.1 183.3; 17.3 381 184.9; 17.4 384.9 186.5
17.5 388.9 188.1; 17.6 392.7 189.7; 17.7 396.7 191.3; 17.8 400.7 192.9; 17.9 404.6 194.6; 18 408.6 196.2
18.1 412.6 197.8; 18.2 416.7 199.4; 18.3 420.7 201; 18.4 424.9 202.6; 18.5 429 204.3; 18.6 433.2 205.9
18.7 437.3 207.6; 18.8 441.5 209.3; 18.9 445.7 211; 19 449.9 212.7; 19.1 454.2 214.4; 19.2 458.4 216.1
19.3 462.7 217.7; 19.4 467 219.4; 19.5 471.3 221.1; 19.6 475.7 222.8; 19.7 479.7 224.5; 19.8 483.9 226.2
19.9 488.6 227.7; 20 493.2 229.5; 20.2 501.5 233; 20.4 510.8 236.4; 20.6 519.9 240.1; 20.8 528.8 243.5; 21 538.4 247.1
21.2 547.5 250.7; 21.4 556.7 254.2; 21.6 566.4 257.8; 21.8 575.6 261.5; 22 585.2 264.9; 22.2 595 268.6
22.4 604.3 272.3; 22.6 614.2 275.8; 22.8 624.1 279.6; 23 633.6 283.3; 23.2 643.4 286.8; 23.4 653.8 290.5
23.6 663.3 294.4; 23.8 673.7 297.9; 24 683.9 301.8; 24.2 694.5 305.6; 24.4 704.2 309.4; 24.6 714.9 313; 24.8 725.7 317
25 736.5 320.9; 25.2 747.2 324.9; 25.4 758.2 328.8; 25.6 769.3 332.7; 25.8 779.7 336.7; 26 790.4 340.5
26.2 801.6 344.4; 26.4 812.8 348.4; 26.6 824.1 352.3; 26.8 835.5 356.4; 27 847 360.5; 27.2 857.5 364.6; 27.4 869 368.3
27.6 880.6 372.3; 27.8 892.3 376.4; 28 904.1 380.6; 28.2 915.8 384.6; 28.4 927.6 388.8; 28.6 938.6 393
28.8 951.2 396.6; 29 963.4 401.1; 29.2 975.4 405.3; 29.4 987.1 409.5; 29.6 998.9 413.5; 29.8 1011 417.6; 30 1023 421.7
30.5 1055 432.4; 31 1086 443.2; 31.5 1119 454; 32 1151 464.9; 32.5 1184 475.9; 33 1217 487; 33.5 1251 498.1
34 1286 509.6; 34.5 1321 521.1; 35 1356 532.5; 35.5 1391 544; 36 1427 555.6; 36.5 1464 567.1; 37 1501 579.3
37.5 1538 591.3; 38 1575 603.1; 38.5 1613 615; 39 1651 627.1; 39.5 1691 639.2; 40 1730 651.8; 40.5 1770 664.2
41 1810 676.6; 41.5 1851 689.1; 42 1892 701.9; 42.5 1935 714.9; 43 1978 728.2; 43.5 2021 741.3; 44 2064 754.4
44.5 2108 767.6; 45 2152 780.9; 45.5 2197 794.5; 46 2243 808.2; 46.5 2288 821.9; 47 2333 835.5; 47.5 2380 849.2
48 2426 863; 48.5 2473 876.9; 49 2521 890.9; 49.5 2570 905.3; 50 2618 919.6; 50.5 2667 933.6; 51 2717 948.2
51.5 2767 962.9; 52 2817 977.5; 52.5 2867 992.1; 53 2918 1007; 53.5 2969 1021; 54 3020 1036; 54.5 3073 1051
55 3126 1066; 55.5 3180 1082; 56 3233 1097; 56.5 3286 1112; 57 3340 1127; 57.5 3396 1143; 58 3452 1159; 58.5 3507 1175
59 3563 1190; 59.5 3619 1206; 60 3676 1222; 60.5 3734 1238; 61 3792 1254; 61.5 3850 1270; 62 3908 1286; 62.5 3966 1303
63 4026 1319; 63.5 4087 1336; 64 4147 1352; 64.5 4207 1369; 65 4268 1386; 65.5 4329 1402; 66 4392 1419; 66.5 4455 1436
67 4517 1454; 67.5 4580 1471; 68 4645 1488; 68.5 4709 1506; 69 4773 1523; 69.5 4839 1541; 70 4905 1558
"""
_ROWS = tuple(tuple(float(n) for n in row.split()) for row in _TABLE.replace("\n", ";").split(";") if row.strip())


def _l_and_h(y: float) -> tuple[float, float]:
    """L and H at y [mm2/s at 100 degC]."""
    if y > _ROWS[-1][0]:
        return 0.8353 * y**2 + 14.67 * y - 216, 0.1684 * y**2 + 11.85 * y - 97  # equations 1 and 2
    place = min(bisect_right(_ROWS, (y, math.inf, math.inf)), len(_ROWS) - 1)
    (y0, l0, h0), (y1, l1, h1) = _ROWS[place - 1], _ROWS[place]
    share = (y - y0) / (y1 - y0)
    return l0 + share * (l1 - l0), h0 + share * (h1 - h0)


def viscosity_index(at_40: float, at_100: float) -> float:
    """Viscosity index [-], not rounded (the standard reports whole numbers).

    Parameters: kinematic viscosities at 40 and 100 degC [mm2/s].

    Notes: procedure A up to an index of 100, procedure B beyond. Refuses: `viscosity-too-low` below 2 mm2/s at 100
    degC, where the index is not defined; `viscosities-reversed` where the oil is not thinner when hot.

    >>> round(viscosity_index(73.30, 8.86)), round(viscosity_index(22.83, 5.05))
    (92, 156)
    """
    if at_100 < 2.0:
        raise Refused("viscosity-too-low")
    if at_40 <= at_100:
        raise Refused("viscosities-reversed")
    low, high = _l_and_h(at_100)
    if at_40 > high:
        return 100 * (low - at_40) / (low - high)  # equation 3, procedure A
    power = (math.log10(high) - math.log10(at_40)) / math.log10(at_100)  # equation 6, procedure B
    return float((10**power - 1) / 0.00715 + 100)  # equation 5


_LEAST_TOLD = 0.21  # mm2/s: least the equation is stated for


def at_temperature(at_40: float, at_100: float, kelvin: float) -> float:
    """Kinematic viscosity [mm2/s] at a temperature [K], from those at 40 and 100 degC [mm2/s].

    Notes: a straight line of log log Z over log T; for mineral oils within a few per cent between cloud point and
    boiling point. Refuses: `viscosities-reversed` where the oil is not thinner when hot, `viscosity-too-low` below 0.21
    mm2/s.

    References: ASTM D341-20, equations 1 to 3 (constants as public manuals print them).

    >>> round(at_temperature(32.0, 5.4, 353.15), 1)
    8.5
    """
    if at_40 <= at_100:
        raise Refused("viscosities-reversed")
    cold, hot = (math.log10(math.log10(_z(each))) for each in (at_40, at_100))
    slope = (cold - hot) / math.log10(373.15 / 313.15)
    z = 10**10 ** (cold - slope * math.log10(kelvin / 313.15)) - 0.7
    found = z - math.exp(-0.7487 - 3.295 * z + 0.6119 * z**2 - 0.3193 * z**3)  # equation 3
    if found < _LEAST_TOLD:
        raise Refused("viscosity-too-low")
    return float(found)


def _z(viscosity: float) -> float:
    return viscosity + 0.7 + math.exp(-1.47 - 1.84 * viscosity - 0.51 * viscosity**2)  # equation 2
