"""An independent solver of assignments: takes a JSON list of lists of calls on standard input and prints, a line a list,
the least cost that SciPy's linear_sum_assignment finds, or null where not every call can be placed.

A list has `costs` (a row for each call, a cell for each ringer, null where she may not), `most` (calls each ringer takes)
and `each_more` (what each further call of one ringer costs above the one before): a ringer stands in the matrix as often
as she takes calls.

    assign_calls.py < lists.json
"""
import json
import sys

import numpy
from scipy.optimize import linear_sum_assignment

for given in json.load(sys.stdin):
    columns = [
        [numpy.inf if cost is None else cost + nth * given["each_more"] for cost in ringer]
        for ringer, most in zip(zip(*given["costs"]), given["most"])
        for nth in range(most)
    ]
    matrix = numpy.array(columns).reshape(len(columns), len(given["costs"])).T
    try:
        rows, chosen = linear_sum_assignment(matrix)
        whole = len(rows) == len(given["costs"])
    except ValueError:
        whole = False
    print(json.dumps(int(matrix[rows, chosen].sum()) if whole else None))
