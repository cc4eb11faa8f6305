"""The chart of ISO 17321-1: 24 measured patches, as colour-science 0.4.7 carries them."""

import colour

(_CHARTS,) = (getattr(colour, name) for name in dir(colour) if name.startswith("SDS_COLOURC"))
PATCHES = _CHARTS["ISO 17321-1"]  # name: spectral distribution, 380-780 nm by 5 nm
