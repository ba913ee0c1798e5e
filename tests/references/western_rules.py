"""Run rules 1 to 4 of Champ and Woodall (1987), whose printed run lengths check `run_rule_length`."""

import numpy as np

from lineview.stats.control_charts import RunRule

WESTERN: dict[int, RunRule] = {
    1: RunRule(1, 1, 3.0, np.inf),
    2: RunRule(2, 3, 2.0, np.inf),
    3: RunRule(4, 5, 1.0, np.inf),
    4: RunRule(8, 8, 0.0, np.inf),
}
