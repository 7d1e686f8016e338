"""What to set: the range of a setting in which every limit holds, and what moves what."""

from thermo.decide.setting import Setting, SettingError, setting_of
from thermo.decide.sizing import Sizing, size

__all__ = ["Setting", "SettingError", "Sizing", "setting_of", "size"]
