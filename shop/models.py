"""Every model of the shop, gathered for Django; each lives in the module of its seam."""

from shop.concessions import Concession, ConcessionUse
from shop.crib import Press, PressCheck, ToolCare, WearPart
from shop.desk_looks import Look
from shop.imports import ImportRun
from shop.jobs import Customer, Job, Performed, PlanLine, ReviewComment, SetupSheet, Termination, TerminationWire
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person, PersonRole, Qualification
from shop.rechecks import PartsList, Recheck, SheetFlag
from shop.saved_searches import SavedSearch
from shop.specifications import CrimpSpecification, Document
from shop.stations import Station, Tablet
from shop.tools import Calibration, Gauge, GaugeOutput, Tool, ToolRow

__all__ = [
    "Calibration",
    "Concession",
    "ConcessionUse",
    "CrimpSpecification",
    "Customer",
    "Document",
    "Gauge",
    "GaugeOutput",
    "ImportRun",
    "Job",
    "Look",
    "PartsList",
    "Performed",
    "Person",
    "PersonRole",
    "PlanLine",
    "Press",
    "PressCheck",
    "Qualification",
    "Recheck",
    "ReviewComment",
    "SavedSearch",
    "SetupSheet",
    "SheetFlag",
    "Station",
    "Tablet",
    "Terminal",
    "TerminalLot",
    "Termination",
    "TerminationWire",
    "Tool",
    "ToolCare",
    "ToolRow",
    "WearPart",
    "Wire",
    "WireLot",
]
