# SPDX-License-Identifier: MIT
"""Opens a file in ParaView as *Open* and *Apply* do, and writes the picture: pvbatch FILE.py DATA PNG."""

import sys

from paraview import simple

source = simple.OpenDataFile(sys.argv[1])
view = simple.GetActiveViewOrCreate("RenderView")
display = simple.Show(source, view)
simple.ResetCamera(view)
print("coloured by", display.ColorArrayName[1], "at the times", source.TimestepValues)
simple.SaveScreenshot(sys.argv[2], view, ImageResolution=[1200, 900])
