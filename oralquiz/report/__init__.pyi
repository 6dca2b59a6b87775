from .sheet import MINUS as MINUS
from .sheet import Sheet as Sheet
from .work_sheet import write_sheet as write_sheet
