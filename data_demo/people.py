"""The invented people: roster, clearances, absences, pins and the crews that stand when the block begins."""

from __future__ import annotations

from dataclasses import dataclass

CARS = ("ember", "slate", "heron", "otter")

# id | name | home | group | height_in | mass_lb | drives | clearances
# A clearance is position[!][@series][>since]: "!" is the training level. The first one is the main position.
_ROSTER = """
maren-okonjo | Maren Okonjo | wrenfield | lead | 67 | 152 | | front-changer
teodor-vasquine | Teodor Vasquine | wrenfield | lead | 70 | 181 | | front-changer rear-changer
jiho-marlowe | Jiho Marlowe | callow-bend | regular | 69 | 168 | | front-changer
ines-quarcoo | Inés Quarcoo | callow-bend | regular | 66 | 147 | | front-changer rear-changer
dario-penhallow | Dario Penhallow | wrenfield | regular | 71 | 184 | | front-changer tire-carrier
wyatt-szabolcsi | Wyatt Szabolcsi | callow-bend | developing | 70 | 176 | | front-changer rear-changer!
kwame-lindquist | Kwame Lindquist | wrenfield | lead | 71 | 188 | | rear-changer
saoirse-tamihana | Saoirse Tamihana | wrenfield | lead | 68 | 155 | | rear-changer front-changer
renzo-haldane | Renzo Haldane | callow-bend | regular | 69 | 172 | | rear-changer
lukasz-birdsong | Łukasz Birdsong | callow-bend | regular | 72 | 190 | | rear-changer
farida-ostrowe | Farida Ostrowe | wrenfield | regular | 67 | 149 | | rear-changer front-changer
emeka-thistlewood | Emeka Thistlewood | quarry-hill | developing | 70 | 179 | yes | rear-changer@linnet
magnus-adeyinka | Magnus Adeyinka | wrenfield | lead | 73 | 214 | | jack
tane-kowalik | Tāne Kowalik | wrenfield | lead | 72 | 209 | | jack tire-carrier
bruno-castellane | Bruno Castellane | callow-bend | regular | 71 | 205 | | jack tire-stager
hollis-nakagami | Hollis Nakagami | callow-bend | regular | 70 | 198 | | jack
petra-vanterpool | Petra Vanterpool | wrenfield | regular | 71 | 182 | | jack tire-carrier
isaia-fontenoy | Isaia Fontenoy | callow-bend | developing | 74 | 221 | | jack!@linnet tire-stager
andre-mbekele | André Mbekele | wrenfield | lead | 74 | 226 | | tire-carrier
soren-quispe | Søren Quispe | wrenfield | lead | 73 | 218 | | tire-carrier
cormac-zielony | Cormac Zielony | callow-bend | regular | 72 | 212 | | tire-carrier tire-stager
rashid-hollenbeck | Rashid Hollenbeck | callow-bend | regular | 71 | 207 | | tire-carrier jack
yara-benvenido | Yara Benvenido | quarry-hill | regular | 70 | 178 | yes | tire-carrier tire-stager
leilani-drost | Leilani Drost | wrenfield | developing | 70 | 174 | | tire-carrier@linnet tire-stager
otto-faleolo | Otto Faleolo | wrenfield | lead | 75 | 242 | | fueler
gideon-sarpomaa | Gideon Sarpomaa | wrenfield | lead | 74 | 231 | | fueler
mikkel-umarov | Mikkel Umarov | callow-bend | regular | 73 | 224 | | fueler can-handler
desmond-ilves | Desmond Ilves | callow-bend | regular | 76 | 246 | | fueler
aleksy-tuimavave | Aleksy Tuimavave | wrenfield | regular | 71 | 219 | | fueler can-handler
bridget-nkemelu | Bridget Nkemelu | wrenfield | developing | 72 | 186 | | fueler>2026-03-10 can-handler
nadia-corvane | Nadia Corvane | wrenfield | regular | 68 | 160 | | tire-stager can-handler
pim-achterberg | Pim Achterberg | wrenfield | regular | 72 | 199 | | tire-stager tire-carrier
joaquin-eldridge-roa | Joaquín Eldridge Roa | callow-bend | regular | 70 | 187 | | tire-stager
thandi-rosseter | Thandi Rosseter | callow-bend | regular | 67 | 158 | | tire-stager can-handler
zofia-marchetto | Zofia Marchetto | wrenfield | regular | 69 | 163 | | can-handler tire-stager
ike-solbakk | Ike Solbakk | wrenfield | regular | 73 | 216 | | can-handler fueler
amadou-wexley | Amadou Wexley | callow-bend | regular | 72 | 203 | | can-handler fueler
greta-llorenz | Greta Llorenz | callow-bend | regular | 68 | 157 | | can-handler
rowan-dlamini-pike | Rowan Dlamini-Pike | quarry-hill | candidate | 69 | 170 | | front-changer! rear-changer!
mateus-galloway-sa | Mateus Galloway-Sá | wrenfield | candidate | 73 | 211 | | jack! tire-carrier!
ksenia-harrowgate | Ksenia Harrowgate | callow-bend | candidate | 68 | 161 | | front-changer!
viliami-ashdowne | Viliami Ashdowne | wrenfield | candidate | 75 | 235 | | fueler! can-handler
"""


@dataclass(frozen=True)
class Cleared:
    """One clearance as the script knows it."""

    position: str
    level: str
    series: str
    since: str


@dataclass(frozen=True)
class Person:
    """One athlete as the script knows it."""

    id: str
    name: str
    home: str
    group: str
    height_in: str
    mass_lb: str
    drives: str
    clearances: tuple[Cleared, ...]

    @property
    def main(self) -> str:
        """The position this person was hired for."""
        return self.clearances[0].position


def _cleared(word: str) -> Cleared:
    word, _, since = word.partition(">")
    word, _, series = word.partition("@")
    return Cleared(word.rstrip("!"), "training" if word.endswith("!") else "cleared", series, since)


def _person(line: str) -> Person:
    id_, name, home, group, height, mass, drives, words = (cell.strip() for cell in line.split("|"))
    return Person(id_, name, home, group, height, mass, drives, tuple(_cleared(word) for word in words.split()))


PEOPLE = tuple(_person(line) for line in _ROSTER.strip().splitlines())

STANDING = {  # one athlete per car, in the order of CARS
    "front-changer": ("maren-okonjo", "teodor-vasquine", "jiho-marlowe", "ines-quarcoo"),
    "rear-changer": ("kwame-lindquist", "saoirse-tamihana", "renzo-haldane", "lukasz-birdsong"),
    "jack": ("magnus-adeyinka", "tane-kowalik", "bruno-castellane", "hollis-nakagami"),
    "tire-carrier": ("andre-mbekele", "soren-quispe", "cormac-zielony", "rashid-hollenbeck"),
    "fueler": ("otto-faleolo", "gideon-sarpomaa", "mikkel-umarov", "desmond-ilves"),
    "tire-stager": ("nadia-corvane", "pim-achterberg", "joaquin-eldridge-roa", "thandi-rosseter"),
    "can-handler": ("zofia-marchetto", "ike-solbakk", "amadou-wexley", "greta-llorenz"),
}

ABSENCES = (  # athlete, first_day, last_day, status, positions, kind, entered_by
    ("desmond-ilves", "2026-03-12", "2026-04-03", "out", "", "medical", "head coach"),
    ("bruno-castellane", "2026-02-23", "2026-03-20", "only", "tire-stager", "medical", "head coach"),
    ("soren-quispe", "2026-04-10", "2026-04-13", "out", "", "personal", "team office"),
    ("farida-ostrowe", "2026-04-20", "", "out", "", "other", "team office"),
    ("wyatt-szabolcsi", "2026-02-28", "2026-02-28", "out", "", "personal", "team office"),
)

PINS = (  # pin, athlete, other, race, car, position, reason
    ("must", "isaia-fontenoy", "", "fallow-linnet", "otter", "jack",
     "First start, agreed with Otter's crew chief; twelve good practices in a row"),
    ("must", "otto-faleolo", "", "bramble-cairn", "ember", "fueler",
     "His home track; promised when he moved the winter practice"),
    ("never", "dario-penhallow", "", "", "ember", "front-changer",
     "Ember's crew chief wants the two regular changers there; review in May"),
    ("pair", "jiho-marlowe", "cormac-zielony", "", "", "",
     "Learning the new front exchange together until the end of the block"),
    ("apart", "wyatt-szabolcsi", "emeka-thistlewood", "", "", "",
     "Not both developing changers on one car"),
)  # fmt: skip


def may_practise(position: str) -> tuple[str, ...]:
    """Everyone with a clearance of any level for a position, the main position first."""
    able = [p for p in PEOPLE if any(c.position == position for c in p.clearances)]
    return tuple(p.id for p in sorted(able, key=lambda p: p.main != position))
