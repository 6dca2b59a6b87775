// What pages and the server say to each other over a WebSocket: types only, for the checker. Nothing
// loads this file. Each message is one typedef on one line: tests hold them to the server's own
// protocol and to what really travels. Sound travels apart, as binary packets (worklet.js).

/**
 * @typedef {"right" | "wrong" | "unclear" | "silent"} Verdict
 * @typedef {"waiting" | "listen" | "speak" | "again" | "done" | "paused" | "over" | "trouble"} TurnPhase
 * @typedef {"preparing" | "running" | "paused" | "over"} RoundPhase
 * @typedef {"own" | "room" | "front"} Way
 * @typedef {"pause" | "resume" | "repeat" | "skip" | "stop" | "slower"} CommandName
 * @typedef {Record<Verdict, number>} Counts
 */

// --- what any page may say ---

/**
 * @typedef {{ t: "hello", mic: boolean, run: string, first: number, play: number }} Hello
 * @typedef {{ t: "ready", mic: boolean }} Ready
 * @typedef {{ t: "delay", out_s: number, in_s: number, measured: boolean }} Delay
 * @typedef {{ t: "late", run: string, play: number }} Late
 * @typedef {{ t: "typed", run: string, value: number }} Typed
 * @typedef {{ t: "command", run: string, name: string }} Command
 * @typedef {{ t: "pong", n: number }} Pong
 * @typedef {{ t: "time", stretch: number }} Time
 * @typedef {{ t: "practise", count: number, rule: string, slower: boolean }} Practise
 */

// --- what the teacher's pages may say ---

/**
 * @typedef {{ t: "do", name: string, pupil?: string }} Do
 * @typedef {{ t: "correct", number: number, verdict: string, value?: number }} Correct
 * @typedef {{ t: "reveal", on: boolean }} Reveal
 * @typedef {{ t: "allow", asking: string, yes: boolean }} Allow
 *
 * @typedef {Hello | Ready | Delay | Late | Typed | Command | Pong | Time | Practise | Do | Correct
 *   | Reveal | Allow} PageMessage
 */

// --- what the server says to a device: a pupil's page, or the one at the front ---

/**
 * @typedef {{ t: "welcome", name: string, run: string, next: number, commands: CommandName[] }} Welcome
 * @typedef {{ t: "aside" }} Aside
 * @typedef {{ t: "begin", run: string, next: number, clip: string | null, commands: CommandName[] }} Begin
 * @typedef {{ t: "end" }} End
 * @typedef {{ t: "receipt", run: string, next: number }} Receipt
 * @typedef {{ t: "resend", run: string, next: number }} Resend
 * @typedef {{ t: "clip", run: string, clip: string }} Clip
 * @typedef {{ t: "play", run: string, play: number, clip: string, at: number, exact: boolean }} Play
 * @typedef {{ t: "hush", run: string }} Hush
 * @typedef {{ t: "reading", run: string, turn: number, terms: [number, number][] }} Reading
 * @typedef {{ t: "ping", n: number }} Ping
 * @typedef {{ t: "note", text: string }} Note
 */

// --- what a device shows; `turn` counts from 0, `who` is the pupil whose turn it is ---

/**
 * @typedef {{ t: "show", phase: "waiting" | "trouble" }} ShowCalm
 * @typedef {{ t: "show", phase: "listen" | "speak" | "paused", turn: number, of: number, who: string }} ShowTurn
 * @typedef {{ t: "show", phase: "again", turn: number, of: number, who: string, heard: string }} ShowAgain
 * @typedef {{ t: "show", phase: "answer", turn: number, of: number, who: string, verdict: Verdict | "skipped", value: number | null, typed?: boolean }} ShowAnswer
 * @typedef {{ t: "show", phase: "over", counts: Counts, practice: boolean, replay?: string }} ShowOver
 * @typedef {ShowCalm | ShowTurn | ShowAgain | ShowAnswer | ShowOver} Show
 */

// --- what the server says to the pages that watch: the teacher's, and the projector ---

/**
 * @typedef {{ t: "live", lesson: LiveRound | null, whole_class: string, front: Front, here: Here[], asking: Asking[] }} Live
 * @typedef {{ t: "wall", lesson: WallRound | null }} Wall
 *
 * @typedef {object} Front the computer at the front
 * @property {boolean} online
 * @property {boolean} ready
 * @property {boolean} mic
 *
 * @typedef {object} Here a pupil whose page is open
 * @property {string} pupil
 * @property {boolean} ready
 * @property {boolean} mic
 *
 * @typedef {object} Asking a pupil who asks to see earlier rounds
 * @property {string} pupil
 * @property {string} asking marks the question
 *
 * @typedef {object} LiveRound
 * @property {string} key
 * @property {string} title
 * @property {Way} way
 * @property {RoundPhase} phase
 * @property {string} trouble empty: none
 * @property {boolean} revealed
 * @property {Row[]} rows
 * @property {Answer[]} answers in the order in which they came; `number` is the place
 *
 * @typedef {object} Row where one pupil is
 * @property {string} pupil
 * @property {boolean} online
 * @property {TurnPhase} phase
 * @property {number} turn -1: not begun
 * @property {number} of
 * @property {number[]} terms
 * @property {number} term the one that sounds; -1: none yet
 * @property {number | null} right_value
 * @property {string} heard
 * @property {number | null} value
 * @property {Verdict | ""} verdict
 * @property {number | null} latency_s
 * @property {Counts} counts
 *
 * @typedef {object} Answer one judged turn
 * @property {number} number
 * @property {string} key
 * @property {number} turn
 * @property {string} pupil
 * @property {string} sum as it is written
 * @property {number} right_value
 * @property {number | null} value
 * @property {string} words
 * @property {Verdict} verdict
 * @property {number | null} latency_s
 * @property {boolean} typed
 * @property {boolean} sound whether the voice can be heard again
 * @property {boolean} corrected
 *
 * @typedef {object} WallRound what a projector may show
 * @property {string} title
 * @property {RoundPhase} phase
 * @property {Way} way
 * @property {number} of
 * @property {number} turn -1: not begun
 * @property {number} term
 * @property {number} terms how many there are
 * @property {TurnPhase} state
 * @property {string} who
 * @property {number} pupils
 * @property {number} answered
 * @property {boolean} revealed
 * @property {string} [sum] only when the answer was asked for
 * @property {number} [answer]
 *
 * @typedef {Welcome | Aside | Begin | End | Receipt | Resend | Clip | Play | Hush | Reading | Ping | Note
 *   | Show | Live | Wall} ServerMessage
 */

export {};
