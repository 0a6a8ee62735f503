# SPDX-License-Identifier: MIT
"""How sure the numbers of a case are: runs on finer meshes and with smaller steps, and error bars from them."""
