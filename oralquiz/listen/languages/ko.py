"""Korean: Sino-Korean numerals, as num2words spells them."""

from __future__ import annotations

from functools import partial

from oralquiz.listen.language import Language
from oralquiz.listen.spelled_numbers import spelled_numbers

LANGUAGE = Language("ko", partial(spelled_numbers, "ko"), ask_again="한 번 더 말해 주세요")
