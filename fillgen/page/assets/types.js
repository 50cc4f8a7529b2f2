// The shapes of what the page's modules hand to each other. Nothing imports this file when the page runs.

/**
 * @typedef {[number, number, number, number, ...number[]]} Stroke tick, ticks of length, MIDI pitch, velocity, number of the note
 * @typedef {{bar: number, midi: number, name: string, finger: number, degree: string, role: string, ids: string[]}} Note
 * @typedef {{number: number, length: number, short: boolean, slows?: number, metre?: string, symbols: any[][], chords: [number, number][]}} WrittenBar
 * @typedef {[string, number][]} Struck names and fingers of the notes struck with one, from the highest down
 */

/**
 * An idea as the program draws it.
 * @typedef {object} Idea
 * @property {string} id
 * @property {number} rank
 * @property {number} score
 * @property {string} shape
 * @property {string} form
 * @property {number} density notes in a bar
 * @property {number} hard difficulty for the fingers, 0 to 1
 * @property {string} text
 * @property {Note[]} notes
 * @property {Stroke[]} strokes
 * @property {string} left
 * @property {string} stop
 * @property {[number, number][]} slowing
 * @property {WrittenBar[]} written
 * @property {string[]} signs
 * @property {Struck[]} below
 * @property {string[]} systems one SVG for each line of music
 * @property {Record<string, string>} [glyphs]
 * @property {number|null} [book] its number in the idea book
 * @property {string[]} [why] for each note why it fits
 */

/**
 * An idea in one key.
 * @typedef {{systems: string[], names: string[], fingers: number[], signs: string[], below: Struck[]}} OwnLook
 */

/**
 * The chords in one key, and all ideas of a round in it.
 * @typedef {object} Look
 * @property {number} [shift]
 * @property {string} about
 * @property {string} chart
 * @property {string} key
 * @property {string} heard
 * @property {number} fifths
 * @property {{bar: number, metre?: string, section?: string, chords: {symbol: string, onset: number, duration: number}[]}[]} bars
 * @property {[number, number, string][]} spans
 * @property {string[]} harmonies
 * @property {Record<string, string>} [glyphs]
 * @property {Record<string, OwnLook>} ideas
 */

/** @typedef {{part: string, name: string, channel: number, volume: number, pan: number, sound: string, program: number, voice: string}} Seat */
/** @typedef {{sound: string, program: number, voice: string}} Sound */

/**
 * What the ideas of one search share.
 * @typedef {object} Facts
 * @property {string} id
 * @property {string} version
 * @property {string} title
 * @property {string} metre
 * @property {number} ticks
 * @property {number} bar_ticks
 * @property {number} beat_ticks
 * @property {[number, string][]} [metres]
 * @property {number} first
 * @property {number} passes
 * @property {number} length
 * @property {number} tempo
 * @property {{fixed: number|null, short: number, largest: number, smallest: number}} swing
 * @property {string} rhythm
 * @property {number} level
 * @property {number} seed
 * @property {string|null} hand
 * @property {number} count
 * @property {string[]} remarks
 * @property {{name: string, shift: number}[]} keys
 * @property {Seat[]} parts
 * @property {{parts: string[], count_in: boolean}} playing
 * @property {string|null} second
 * @property {Stroke[]} clicks
 * @property {{bass: Record<string, Stroke[]>, drums: Record<string, Stroke[]>, left: Record<string, {with_bass: Stroke[], alone: Stroke[]}>}} backing
 * @property {Sound[]} sounds
 * @property {string[]} cautions
 */

/** @typedef {Facts & Omit<Look, "ideas"|"shift"|"glyphs">} Whole */

/**
 * What somebody listens with.
 * @typedef {object} Wishes
 * @property {string[]} parts
 * @property {Record<string, Sound>} sounds
 * @property {number} tempo quarter notes a minute
 * @property {number} volume 0 to 100
 * @property {boolean} loop
 * @property {[number, number]|null} span the ticks that are played, null for all
 * @property {boolean} slow
 * @property {boolean} countIn
 * @property {number} shift semitones from the round's own key
 */

/**
 * The ideas of one search, of one idea's variations, or of a phrase that was checked.
 * @typedef {object} Round
 * @property {number} number
 * @property {Whole} whole
 * @property {Map<number, Look>} looks
 * @property {Look} own
 * @property {string} heading
 * @property {Entry[]} entries
 * @property {HTMLElement} root
 * @property {HTMLElement} cards
 * @property {boolean} listed whether it belongs to the music on the page: the book's and the check's don't
 * @property {Entry|null} of the idea it varies
 * @property {number[]} kept the bars that stayed
 * @property {string[]} remarks
 */

/**
 * An idea on the page.
 * @typedef {object} Entry
 * @property {string} key
 * @property {Round} round
 * @property {Idea} idea
 * @property {HTMLElement} card
 * @property {string} drawn what its picture shows, in one word; empty where it isn't drawn
 * @property {Set<number>} bars the bars to keep
 * @property {Map<number, {sign: string, word: string}>} marks signs at some of its notes
 */

/** @typedef {{whole: Pick<Whole, "chart"|"key"|"metre"|"first"|"level"|"rhythm"|"tempo"|"hand"|"seed"|"second">, row: {text: string, rank: number, shape: string, score: number}, book: number|null}} Kept */

/**
 * The sounds that a page plays.
 * @typedef {{key: number, pitch: number, rate: number, gain: number, loop: [number, number], decay: number, pan: number, upto: number, choke: string, pcm: string}} SampleFacts
 * @typedef {SampleFacts & {buffer: AudioBuffer}} Sample
 * @typedef {{release: number, samples: Sample[], wide: [number, number, number]}} Voice
 * @typedef {object} Bank
 * @property {Record<string, {release: number, samples: SampleFacts[], wide: [number, number, number]}>} voices
 * @property {{rate: number, gain: number, pcm: string}} room
 * @property {{gain: number, drums: number, fall: number[]}} mix
 */

/**
 * The way of a part's sound: its level, what of it goes to the room, and whose turn it is among the samples of a key.
 * @typedef {{level: GainNode, sent: GainNode, pan: number, turns: Map<number, number>, voice: string, volume: number}} Bus
 */

/**
 * What is played: times are seconds of the audio clock.
 * @typedef {{part: string, at: number, lasts: number, midi: number, velocity: number, note?: number}} Event
 * @typedef {{source: AudioBufferSourceNode, cut: GainNode, from: number, until: number, choke?: string}} Sounding
 * @typedef {{detail: {key: string, note: number, ids: string[], due: number, at: number}, ends: number, lit: boolean}} Light
 * @typedef {object} Run
 * @property {string} key
 * @property {Whole} whole
 * @property {Idea} idea
 * @property {Wishes} wishes
 * @property {import("./sound.js").Sound} sound
 * @property {AudioContext} context
 * @property {number} round
 * @property {Light[]} lights
 * @property {Event[]} events
 * @property {number} next the event that is struck next
 * @property {number} begins
 * @property {number} ends
 */

/**
 * What the served page has to choose from.
 * @typedef {object} Start
 * @property {string} version
 * @property {string} chart with which the page was started
 * @property {boolean} book whether there is an idea book
 * @property {{number: number, name: string}[]} levels
 * @property {Record<string, any>} usual
 * @property {{bars_of_all: number}} most
 * @property {string[]} keys
 * @property {string[]} metres
 * @property {{name: string, tempo: number, metres: string[]}[]} rhythms
 * @property {Record<string, string>} rhythm_of the usual rhythm of a metre
 * @property {string[]} busy
 * @property {string[]} shapes
 * @property {string[]} for
 * @property {string[]} hands
 * @property {string[]} seconds
 * @property {string[]} near
 */

/**
 * A chart as the server read it.
 * @typedef {{key: string, metre: string, rhythm: string, bars: Look["bars"]}} ReadChart
 * @typedef {{name: string, bars: number, mode: string, purpose: string, chart: string, key: string, says: string}} Sequence
 */

/**
 * An idea of the book, and a step that changes some of them.
 * @typedef {{id: number, name: string, stars: number, title: string, key: string, metre: string, rhythm: string, level: number|null, shape: string, last: string, tags: string[], sets: string[], note: string, chart: string}} BookIdea
 * @typedef {{action: string, ids?: number[], [more: string]: any}} Step
 */

/**
 * A phrase that was checked: the notes with something against them, and what mends it.
 * @typedef {{note: number, bar: number, kind: string, what: string, says: string, reason: string}} Fault
 * @typedef {{text: string, changed: number[], sentences: string[]}} Mend
 * @typedef {object} Report
 * @property {Whole} whole
 * @property {{glyphs: Record<string, string>, ideas: Idea[]}} drawn
 * @property {string} verdict
 * @property {number} level
 * @property {string[]} reading
 * @property {Fault[]} faults
 * @property {Mend|null} mend
 * @property {string[]} works
 * @property {string[]} remarks
 * @property {{why: string}[]} notes
 */

/**
 * Which notes fit a chord.
 * @typedef {{name: string, degree: string, kind: string}} FitNote
 * @typedef {{symbol: string, heard: string, bar: number, through: number, remark: string, notes: FitNote[], into: string, common: {words: string}[], ways: {words: string}[]}} FitChord
 */

export {};
