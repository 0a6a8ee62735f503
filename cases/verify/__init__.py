# SPDX-License-Identifier: MIT
"""How sure the numbers of a case are: error bars from runs on finer meshes and with smaller steps."""
