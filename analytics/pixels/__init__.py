"""Picture -> measurements -> fault suggestions: numpy and OpenCV in, plain numbers and sentences out.

`measure` examines one file. It knows neither the journal's file nor its sessions; what the frames of a session say
about each other is `analytics.pixels.suggest`. Fitting the model is not done here.
"""

from analytics.pixels.decoding import UnmeasurablePictureError
from analytics.pixels.measuring import MEASURE_VERSION, measure

__all__ = ["MEASURE_VERSION", "UnmeasurablePictureError", "measure"]
