#!/usr/bin/env python3
"""The least changes that settle random tickets, by scipy's linprog on the same programs.

usage: program.py PROGRAMS.txt

A line a program, parts by `;`: prices, values as they stand, our answer (empty where we found none), then every
limit as seven weights and the least that they must give. Change is split into more and less, both at the price. Our
answer must cost the same, break no limit, and be none exactly where linprog (HiGHS) finds none.
"""
import sys

import numpy
import scipy
from scipy.optimize import linprog

SAME = 1e-3  # of the cost, and in mm; the limits are handed over with 2e-5 mm to spare


def numbers(part):
    return numpy.array([float(x) for x in part.split()])


def main(path):
    solved = never = 0
    worst = 0.0
    wrong = []
    for at, line in enumerate(open(path)):
        price, start, ours, *limits = line.rstrip("\n").split(";")
        price, start, ours = numbers(price), numbers(start), numbers(ours)
        limits = numpy.array([numbers(limit) for limit in limits])
        weights, least = limits[:, :-1], limits[:, -1]
        theirs = linprog(
            numpy.tile(price, 2),
            A_ub=-numpy.hstack([weights, -weights]),
            b_ub=weights @ start - least,
            bounds=(0, None),
            method="highs",
        )
        if theirs.status == 2:
            never += 1
            if len(ours):
                wrong.append(f"program {at}: none by linprog, ours is {ours}")
            continue
        if theirs.status != 0 or not len(ours):
            wrong.append(f"program {at}: linprog {theirs.message}, ours {ours}")
            continue
        solved += 1
        cost = price @ numpy.abs(ours - start)
        off = abs(cost - theirs.fun) / max(theirs.fun, 1.0)
        worst = max(worst, off)
        if off > SAME or (weights @ ours - least).min() < -SAME:
            wrong.append(f"program {at}: ours costs {cost}, linprog's {theirs.fun}; slack {(weights @ ours - least).min()}")
    print(f"scipy {scipy.__version__}: {solved} programs solved alike, {never} have no answer, largest difference of cost {worst:.1e}")
    print("\n".join(wrong), end="\n" if wrong else "")
    sys.exit(1 if wrong or solved == 0 else 0)


if __name__ == "__main__":
    main(*sys.argv[1:])
