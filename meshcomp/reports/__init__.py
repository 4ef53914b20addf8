"""Reports: results in, text, JSON or one HTML page out; nothing is computed here.

Examples
--------
>>> from meshcomp.inspections import Inspection, SolidState
>>> from meshcomp.meshes import Mesh
>>> from meshcomp.parts import Part, Piece, Source
>>> from meshcomp.reports import inspection_json, inspection_text
>>> from meshcomp.stands import stand
>>> source = Source(
...     path="cell.stl", format="stl", unit="mm", unit_origin="assumed", sha256="5f" * 32
... )
>>> mesh = Mesh(
...     [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)],
...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)],
... )
>>> part = Part(
...     name="cell", mesh=mesh, stand=stand("+Z"), stand_is_assumed=True, source=source,
...     pieces=(Piece(name="cell"),), piece_of_face=[0, 0, 0, 0],
... )
>>> solid = SolidState(
...     is_watertight=True, bodies=1, genus=0, volume=1 / 6,
...     bounds=((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), triangles=4,
... )
>>> inspection = Inspection(
...     part=part, solid=solid, features=(), internal_faces=[False] * 4, stands=(), notes=()
... )
>>> inspection_json(inspection)["solid"]["triangles"]
4
>>> print(inspection_text(inspection))
cell: cell.stl
unit mm (assumed), content 5f5f5f5f5f5f
...
"""

from meshcomp.reports.html import record_html
from meshcomp.reports.jsons import inspection_json, record_json
from meshcomp.reports.terminal import inspection_text, record_text

__all__ = [
    "inspection_json",
    "inspection_text",
    "record_html",
    "record_json",
    "record_text",
]
