"""Fits censored times: takes a JSON list of data sets on standard input, each a list of [hours, answered], and prints a
JSON list of what PyPI's lifelines makes of each: the log-likelihood of log-normal, Weibull and log-logistic fits, plain
and with a share that never answers.

    fit_survival.py < times.json
"""
import json
import sys
import warnings

import lifelines

FITTERS = {
    "LogNormal": lifelines.LogNormalFitter,
    "Weibull": lifelines.WeibullFitter,
    "LogLogistic": lifelines.LogLogisticFitter,
}


def fits(times):
    hours = [hours for hours, _ in times]
    answered = [answered for _, answered in times]
    for name, fitter in FITTERS.items():
        yield name, fitter().fit(hours, answered).log_likelihood_
        cure = lifelines.MixtureCureFitter(base_fitter=fitter())
        yield f"{name} cure", cure.fit(hours, answered).log_likelihood_


# A share that never answers of nought lies on the edge of what it may be, where the curvature cannot be read.
warnings.simplefilter("ignore")
json.dump([dict(fits(times)) for times in json.load(sys.stdin)], sys.stdout)
