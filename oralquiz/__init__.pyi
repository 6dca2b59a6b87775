from .api import compose_sums as compose_sums
from .api import dictate as dictate
from .api import hear as hear
from .api import judge_answer as judge_answer
from .beads import MoveOrder as MoveOrder
from .beads import Sum as Sum
from .beads import explain as explain
from .errors import BadInput as BadInput
from .errors import OralquizError as OralquizError
from .judge import diagnose as diagnose
from .learn import Practice as Practice
from .learn import PracticeSettings as PracticeSettings
from .replay import build_page as build_page
from .session import open_session as open_session

__version__: str
__all__: list[str]
