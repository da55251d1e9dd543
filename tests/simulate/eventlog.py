"""What the people at the engines wrote down during the runs of the examples; agrees with `logplans`."""

from __future__ import annotations

EVENTS_2026 = """\
Build,Check,Minute,What,Cyl,Lasted,Meter,Moved,Flow,Stood,Tight,By,Remark
B1,cold-build,,crankcase-check,,,,,,,yes,M. A.,"foam at seals, covers and dipstick"
B1,run-in-10,7.5,meter-check,,,M1,yes,,,,M. A.,by the fixed line from outside the cell with its flame arrester
B1,run-in-10,9,meter-reading,,,F1,,35,bouncing,,M. A.,
B1,run-in-25,13,meter-reading,,,F1,,29,moving,,M. A.,
B1,run-in-60,24.5,meter-reading,,,F1,,17,steady,,M. A.,
B2,cold-build,,crankcase-check,,,,,,,yes,K. L.,"foam at seals, covers and dipstick"
B2,run-in-60,17,stop,,4,,,,,,K. L.,gas supply closed by its own alarm; drip at a union found and tightened
B2,run-in-60,21,restart,,,,,,,,K. L.,
B3,cold-build,,crankcase-check,,,,,,,yes,R. S.,"foam at seals, covers and dipstick"
B3,run-in-60,33,other,,,,,,,,R. S.,coolant reading stands still though the radiator fan starts and stops
B4,cold-build,,crankcase-check,,,,,,,yes,J. Ö.,"foam at seals, covers and dipstick"
B4,durability,1432,low-oil,,,,,,,,J. Ö.,level at the lower mark; nothing filled up before the run ended
B5,cold-build,,crankcase-check,,,,,,,yes,M. A.,"foam at seals, covers and dipstick"
B5,pulls,10,other,,,,,,,,M. A.,third pull not swept: pedal held by mistake
B6,cold-build,,crankcase-check,,,,,,,yes,K. L.,"foam at seals, covers and dipstick"
B6,run-in-10,6.5,meter-check,,,M1,yes,,,,K. L.,by the fixed line from outside the cell with its flame arrester
B6,run-in-60,18.5,adjusted,,0.3,,,,,,K. L.,speed ran away for some seconds; governor spring set back
B7,cold-build,,crankcase-check,,,,,,,yes,R. S.,"foam at seals, covers and dipstick"
B7,run-in-60,20,meter-reading,,,F1,,14,moving,,R. S.,the other meter shows one and the same number
B7,pulls,4,meter-check,,,M1,no,,,,R. S.,by the fixed line; nothing moved; rotor found seized afterwards
"""
