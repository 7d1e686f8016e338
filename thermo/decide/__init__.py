"""What to do: the verdict and what to change, the range of a setting, and what moves what."""

from thermo.decide.estimate import Result, estimate, run
from thermo.decide.setting import Setting, SettingError, setting_of
from thermo.decide.sizing import Sizing, size

__all__ = ["Result", "Setting", "SettingError", "Sizing", "estimate", "run", "setting_of", "size"]
