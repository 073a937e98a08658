"""The season plan: what to bottle, sell in drums and keep, month by month; no Django here.

    problem     what the plan depends on: pools of honey, products, outlets, parts, labour, room
    demand      demand that is not certain: expected sales, the chance that jars run out
    search      the linear programme, through SciPy and HiGHS, in floats
    plan        the months of a plan, what a pound and an hour are worth, and the least drum price
    policies    simple rules that a plan is compared with
    back_test   plans of the past, carried out month by month against what came
    simulate    invented seasons with a seed

Money is in cents, honey in grams, work in minutes, time in months from now (0 is this month).
"""
