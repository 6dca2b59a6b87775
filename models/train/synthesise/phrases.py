"""What the voices say: number phrases, hesitations, and speech that is not a number."""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

DIGITS = "zero one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
SINGLE = [*DIGITS, "oh", "nought", *TEENS, *TENS, "hundred", "thousand", "minus"]
NUMBER_WORDS = frozenset([*SINGLE, "and", "a"])

BEFORE = (
    "um|er|uh|erm|hmm|ah|well|so|I think|I think it's|it's|is it|it is|maybe|the answer is|"
    "let me see|wait|okay|um I think|er it's|I got|I get|that makes|yes|oh wait|is that|"
    "I know|mmm|um um|uhh|please"
).split("|")
AFTER = (
    "I think|yeah|please|is that right|no wait|um|right|okay|finished|I'm done|sir|miss|"
    "I guess|isn't it"
).split("|")
MENDING = (
    "no I mean|no|I mean|sorry|er no|wait no|um no|no wait|no sorry|actually|or maybe|no it's"
).split("|")

# Words close to a number word in sound; exact homophones (won, ate, to, for) are left out.
NEAR = (
    "tree trees free frees freeze flea fee threw through thrill thread fort fork fall fought "
    "ford form forth fourth force fire fife fine find fight file life live alive hive dive "
    "strive knife wife sick sip sit sits sink sack socks seeks sixth heaven even evening leaven "
    "given driven savvy saving sever severe seventh hate late eat wait weight bait ape aim age "
    "eighth height mine line pine wine sign night nice knight ninth tent tenth tend then than "
    "pen men hen Ben den tin tan ton town tell yen wonder want wand when run fun sun gun done "
    "bun wan wanting once tool tooth tube toot toy tour chew shoe do you who blue true zoo new "
    "few hero zebra zip zoom zone arrow narrow Nero neat not knot nut naughty note nod owl own "
    "oat old open over ow all or dirty shirty thirsty Thursday sturdy worthy party sporty "
    "plenty gently country entry empty twin twelfth wealthy elf shelf delve fifth fluffy "
    "weighty mighty nifty shifty teen keen green queen canteen routine machine sardine umpteen "
    "hunted hunter hungry wonderful wondered under thousandth sand hand band menace minor "
    "miners minute Venus sinus fifteenth thirtieth twentieth hundredth state gate great cake "
    "bite light fright hind nigh more door sore shore tore core tea team tease "
    "seat sieve lemon melon eleventh sketch sticks fix mix ticks skip text next vex "
    "won't tune soon moon spoon June thrown drone zeal zest sir ear hear year "
    "on off up go wow how now ford forever wan gone going goat got guy gun of other "
    "phone hour our are art awful often office "
    "cup cop cat cut wake way away wave white why wide wise nail mile mind "
    "sinner signal siren seller settle sadder satin fourthly fairly "
    "ready teddy petty pretty pity city kitty sixpence fist first thirst thaw third bird word"
).split()
EVERYDAY = (
    "yes no up down left right on off stop go start wait forward backward follow learn visual "
    "bed bird cat dog happy house marvin sheila wow hello goodbye thanks please sorry teacher "
    "again repeat slower faster louder next back ready finished help "
    "mum mummy dad daddy baby brother sister friend water juice apple banana orange grape "
    "bread butter milk cheese cake cookie pizza chicken rice soup egg pear peach "
    "red blue green yellow purple pink brown black white grey silver gold "
    "lion tiger elephant monkey giraffe hippo horse cow pig sheep goat duck goose rabbit "
    "mouse frog fish whale shark spider snake penguin parrot bear wolf fox deer camel "
    "car bus train plane boat bike truck rocket ball doll book pencil paper school chair "
    "table door window floor garden flower grass tree sky cloud rain snow wind star moon "
    "head nose mouth ear eye finger thumb toe foot leg arm tummy shirt sock hat coat "
    "circle square triangle plus equals add take away carry bead frame column total sum "
    "answer question maths lesson morning evening Monday Tuesday Wednesday Friday Saturday "
    "Sunday January April August music guitar piano football swimming running jumping "
    "because maybe never always today tomorrow yesterday here there where what why how "
    "really yeah nope okay alright nothing something everybody somebody it's that this those "
    "laugh giggle cough sneeze sing dance play read write draw paint cut glue open close "
    "Emma Oliver Sophie Daniel Maya Omar Priya Chen Lucas Amelia Jack Grace Leo Nina Ivan "
    "Fatima Tom Kate Steve Neil Clive Kevin Evan Ted Tina Betty Freddy Katie "
    "sunshine umbrella computer telephone holiday birthday breakfast dinner kitchen bathroom"
).split()
LETTERS = "A B C D E F G H I J K L M N P Q R S T U V W X Y Z".split()
SENTENCES = (
    "I don't know|again please|say it again|can you say that again|I forgot|I lost count|"
    "that was too fast|slow down please|I wasn't listening|what did you say|"
    "can I go to the toilet|I need to sharpen my pencil|he is copying me|she said it first|"
    "I'm hungry|is it break time|my hand hurts|my tummy hurts|look at that|stop it|"
    "be quiet please|that's not fair|I did it|I can't do it|this is hard|this is easy|"
    "let me try again|I was going to say that|the dog ran away|we went to the park|"
    "my mum is coming|it's raining outside|I like this song|where is my book|"
    "close the door please|open the window|put your hands up|are you ready|here we go|"
    "what's for dinner|I want to play|give it back to me|for a while|to go home|"
    "for the teacher|too much noise|to the shop|for example|he ate it all|she won it|"
    "we won the game|they ate the cake|I want some water|who wants to go next|"
    "the cat sat on the mat|there is a tree in the garden|a bird in the sky|"
    "my favourite colour is green|the train is late again|turn the page over|"
    "write it down quickly|I have to go now|see you tomorrow|good morning everybody|"
    "good afternoon|how are you today|I'm fine thank you|what time is it|"
    "never mind|hurry up|come here|sit down please|stand in a line|wash your hands|"
    "that is mine|it is very thirsty|a dirty shirt|we are free|stay alive|heaven knows|"
    "I feel sick|the tent fell down|oh no|oh dear|oh my goodness|oh I see|oh well|"
    "move the beads|clear the frame|push the thumb bead|add the friend|take away the rest|"
    "carry to the left|use the other hand|lift your finger|read the next sum|"
    "the quick brown fox jumps over the lazy dog|once upon a time there was a king|"
    "she sells sea shells on the shore|my teacher gave me a sticker|"
    "can somebody help me with this|we are learning about the planets|"
    "the baby is sleeping in the other room|I would rather stay at home|"
    "what are you doing after school|they were running around the yard|"
    "please put the paper in the bin|it smells like burnt toast|"
    "yesterday we saw a film about whales|the music was really loud|"
    "has anybody seen my shoes|let's ask the teacher|I think so|I think it's wrong|"
    "is it my turn|is it right|it's not working|er|um|uh|hmm|ah|erm|wait|no|um I don't know|"
    "er what was it|la la la|ha ha ha|na na na na|blah blah blah|shh|ouch|hooray|wee|"
    "da da da|bee bop|woof woof|meow|moo|vroom vroom|beep beep"
).split("|")


@dataclass(frozen=True)
class Phrase:
    """`text` is said, `words` is its label (see corpus.Line), `kind` as in the manifest."""

    words: str
    kind: str
    text: str


def below_hundred(value: int) -> str:
    """0..99 in words, without a hyphen."""
    if value < 10:
        return DIGITS[value]
    if value < 20:
        return TEENS[value - 10]
    ones = value % 10
    return TENS[value // 10 - 2] + (f" {DIGITS[ones]}" if ones else "")


def in_words(value: int, joint: str = "and", one: str = "one") -> str:
    """0..9999 in words; `joint` ("and" or "") before the last two digits, `one` or "a" hundred."""
    parts = []
    thousands, rest = divmod(value, 1000)
    hundreds, low = divmod(rest, 100)
    if thousands:
        parts.append((one if thousands == 1 else DIGITS[thousands]) + " thousand")
    if hundreds:
        first = one if hundreds == 1 and not thousands else DIGITS[hundreds]
        parts.append(first + " hundred")
    if low or not parts:
        if parts and joint:
            parts.append(joint)
        parts.append(below_hundred(low))
    return " ".join(parts)


def number(rng: np.random.Generator) -> str:
    """One number phrase: 35 % single words, 40 % 0..99, 15 % hundreds, 5 % thousands, 5 % rest."""
    draw = rng.random()
    if draw < 0.35:
        return str(rng.choice(SINGLE))
    if draw < 0.75:
        return below_hundred(
            int(rng.integers(20, 100) if rng.random() < 0.85 else rng.integers(0, 20))
        )
    joint = "and" if rng.random() < 0.55 else ""
    one = "a" if rng.random() < 0.3 else "one"
    if draw < 0.90:
        value = int(rng.integers(100, 1000))
        return in_words(value // 100 * 100 if rng.random() < 0.12 else value, joint, one)
    if draw < 0.95:
        value = int(rng.integers(1000, 10_000))
        round_to = int(rng.choice([1, 1, 100, 1000]))
        return in_words(value // round_to * round_to, joint, one)
    if draw < 0.97:
        return "minus " + in_words(int(rng.integers(1, 100)), joint, one)
    zero = str(rng.choice(["zero", "oh", "nought"]))
    digits = rng.integers(0, 10, int(rng.integers(2, 5)))
    return " ".join(zero if d == 0 else DIGITS[d] for d in digits)


def hesitation(rng: np.random.Generator) -> Phrase:
    """A number with other speech before or after it, or mended by a second one."""
    value = below_hundred(int(rng.integers(0, 100)))
    draw = rng.random()
    if draw < 0.6:
        return Phrase(f"[unk] {value}", "hesitation", f"{rng.choice(BEFORE)}, {value}")
    if draw < 0.7:
        return Phrase(f"{value} [unk]", "hesitation", f"{value}, {rng.choice(AFTER)}")
    last = below_hundred(int(rng.integers(0, 100)))
    return Phrase(f"{value} [unk] {last}", "hesitation", f"{value}, {rng.choice(MENDING)}, {last}")


# Sound like a number word, or are one in part: never taken from a word list as "other".
ALIKE = frozenset(
    "won to too for fore ate owe o an in nd s t m d re ll ve not knot naught ought first hundreds "
    "thousands millions million billion twenties thirties forties fifties sixties seventies "
    "eighties nineties ones twos threes fours fives sixes sevens eights nines tens something's "
    "someone anyone everyone none ain un ok wan".split()
)


def common_words(path: Path, count: int) -> list[str]:
    """The `count` commonest words of a JSON list of {"word", "count"}, without number words."""
    words = [entry["word"] for entry in json.loads(path.read_text())]
    fit = [
        w
        for w in words
        if w.isalpha()
        and len(w) > 1
        and w.lower() not in NUMBER_WORDS | ALIKE
        and not any(w.lower().startswith(n) for n in NUMBER_WORDS if len(n) > 4)
    ]
    return fit[:count]


def other(rng: np.random.Generator, common: list[str] | None = None) -> Phrase:
    """Speech that is not a number: near-words, everyday words, letters, sentences; with a list
    of common words, half of it from there, one to three in a row."""
    if common and rng.random() < 0.5:
        count = int(rng.choice([1, 2, 3], p=[0.75, 0.15, 0.10]))
        return Phrase("", "other", " ".join(str(w) for w in rng.choice(common, count)))
    draw = rng.random()
    if draw < 0.35:
        text = str(rng.choice(NEAR))
    elif draw < 0.65:
        text = str(rng.choice(EVERYDAY))
    elif draw < 0.70:
        text = str(rng.choice(LETTERS))
    else:
        text = str(rng.choice(SENTENCES))
    return Phrase("", "other", text)


def plan(
    rng: np.random.Generator,
    numbers: int,
    hesitations: int,
    others: int,
    digits: int = 0,
    common: list[str] | None = None,
) -> list[Phrase]:
    """That many phrases of each kind (`digits`: 0..19 and the tens on top), shuffled."""
    phrases = [Phrase(text, "number", text) for text in (number(rng) for _ in range(numbers))]
    short = [*DIGITS, *DIGITS, *TEENS, *TENS]
    singles = [short[i % len(short)] for i in range(digits)]
    phrases += [Phrase(text, "number", text) for text in singles]
    phrases += [hesitation(rng) for _ in range(hesitations)]
    phrases += [other(rng, common) for _ in range(others)]
    order = rng.permutation(len(phrases))
    return [phrases[i] for i in order]
