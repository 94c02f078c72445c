# The public names and where each comes from. Python reads this file when a name is first used, and type
# checkers read it in place of `__init__.py`.
from . import cq as cq
from . import testing as testing
from .engine import check as check
from .errors import FixturecheckError as FixturecheckError
from .errors import KernelError as KernelError
from .errors import NotComputedError as NotComputedError
from .errors import SetupError as SetupError
from .relief.model import Reliefs as Reliefs
from .relief.search import relieve as relieve
from .report.write import write_report as write_report
from .result import Result as Result
from .result.finding import Finding as Finding
from .result.finding import Verdict as Verdict
from .setup.dials import Dials as Dials
from .setup.dials import Handwheel as Handwheel
from .setup.dials import Squaring as Squaring
from .setup.dials import Transfer as Transfer
from .setup.holding import CalibratedChuck as CalibratedChuck
from .setup.holding import Clamp as Clamp
from .setup.holding import Holding as Holding
from .setup.holding import Milling as Milling
from .setup.load import load as load
from .setup.make import body as body
from .setup.make import equipment as equipment
from .setup.make import place as place
from .setup.model import Body as Body
from .setup.model import Cut as Cut
from .setup.model import Machine as Machine
from .setup.model import Seat as Seat
from .setup.model import Setup as Setup
from .setup.placed import place_by_seats as place_by_seats
from .setup.records import Relieving as Relieving
from .setup.staging import Press as Press
from .setup.staging import Push as Push
from .setup.staging import Staging as Staging
from .setup.text import OwnShop as OwnShop
from .setup.text import chuck_file as chuck_file
from .setup.text import own_shop as own_shop
from .shop.wheels import Flange as Flange
from .shop.wheels import Guard as Guard
from .shop.wheels import Wheel as Wheel
from .tolerances import Tolerances as Tolerances

__version__: str
