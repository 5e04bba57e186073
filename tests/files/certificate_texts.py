"""Invented certificates as laboratories write them, for the tests of reading and importing."""

from __future__ import annotations

import io

import openpyxl

WIDE = """\
Laboratory: Demo laboratory A
Job: A-0001
Reported: 2031-06-02

Sample,Type,Recvd Wt,Au,Au,Cu,Ag
Unit,,kg,ppb,ppm,ppm,ppm
Method,,,FA30,GRAV,ICP4A,ICP4A
Lower limit,,,5,0.5,1,0.1
Upper limit,,,10000,,10000,100
K410001,SMP,3.21,<5,,35,0.3
K410002,SMP,2.20,>10000,12.5,120,-0.1
K410002,DUP,,>10000,12.4,121,N.A.
STD-7,STD,,512,,1,0.1
BLK-1,BLK,,<5,,<1,< 0.1
K410003,SMP,2.0,IS,,LNR,0
K410004,SMP,2.0,14,,20000,0.5
K410005,SMP,,1-5,,abc,0.2
End of report
"""
LONG = """\
Laboratory;Demo laboratory B
Job;B-77
Date reported;4-Jun-2031
Sample ID;Analyte;Method;Unit;LOD;Upper limit;Result
K410001;Au;FA30;g/t;0,01;100;0,52
K410001;Weight;;kg;;;3,25
K410001;Cu;ICP;%;0,001;10;1,2
K410002;Au;FA30;g/t;0,01;100;< 0,01
K410002;Cu;ICP;%;0,005;10;< 0,005
K410002 DUP;Au;FA30;g/t;0,01;100;0,02
"""
SETTLED = {"laboratory": "Demo laboratory A", "job": "J1", "reported": "2031-06-02"}


def workbook(rows: list[list], *, merged: tuple[str, ...] = (), title: str = "Results", first: list | None = None) -> bytes:
    """An XLSX file; `first` are the rows of a sheet before it."""
    book = openpyxl.Workbook()
    sheet = book.active
    if first is not None:
        sheet.title = "About"
        for row in first:
            sheet.append(row)
        sheet = book.create_sheet()
    sheet.title = title
    for row in rows:
        sheet.append(row)
    for area in merged:
        sheet.merge_cells(area)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
