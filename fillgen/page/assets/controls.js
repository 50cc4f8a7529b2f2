// The controls of the page: what the reader wishes to hear, to see and to have on the page.
import { element, signed } from "./cards.js";

const KEPT = ["volume", "names", "fingers"];
const START = { volume: 40, names: false, fingers: true };

function field(name) {
  return document.querySelector(`#controls [name="${name}"]`);
}

function fill(select, options, chosen) {
  select.replaceChildren(...options.map(([value, words]) => element("option", { value }, words)));
  select.value = chosen;
}

// What players call a voice, with the General MIDI name of its sound beside it.
function soundInWords({ voice, sound }) {
  return sound.toLowerCase() === voice ? sound : `${voice} (${sound})`;
}

export class Controls {
  constructor(store, changed) {
    this.store = store;
    this.form = document.getElementById("controls");
    this.form.addEventListener("input", () => {
      this.tell();
      changed();
    });
    this.form.addEventListener("submit", (event) => event.preventDefault());
    document.getElementById("own-tempo").addEventListener("click", () => {
      field("tempo").value = this.ownTempo;
      this.tell();
      changed();
    });
    const kept = { ...START, ...store.get("wishes", {}) };
    field("volume").value = kept.volume;
    field("names").checked = kept.names;
    field("fingers").checked = kept.fingers;
    if (window.matchMedia("(max-width: 63.99rem)").matches) {
      for (const panel of this.form.querySelectorAll("details")) panel.open = false;
    }
    this.sounds = [];
    this.tell();
  }

  // Takes what a new set of ideas offers.
  begin(whole) {
    const [right] = whole.parts;
    this.ownTempo = whole.tempo;
    this.sounds = whole.sounds.map((each) => (each.voice === right.voice ? { ...each, ...right } : each));
    fill(field("sound"), this.sounds.map((each, place) => [place, soundInWords(each)]), "");
    field("sound").value = String(this.sounds.findIndex(({ voice }) => voice === right.voice));
    fill(field("key"), whole.keys.map(({ name, shift }) => [shift, this.keyInWords(name, shift)]), "0");
    const tempo = field("tempo");
    tempo.min = Math.min(30, whole.tempo);
    tempo.max = Math.max(280, whole.tempo);
    tempo.value = whole.tempo;
    for (const box of this.form.querySelectorAll('[name="part"]')) {
      box.checked = whole.playing.parts.includes(box.value);
    }
    field("count-in").checked = whole.playing.count_in;
    this.tell();
  }

  keyInWords(name, shift) {
    const steps = Math.abs(shift);
    const half = `${steps} half step${steps === 1 ? "" : "s"} ${shift > 0 ? "up" : "down"}`;
    return shift ? `${signed(name)}, ${half}` : `${signed(name)}, as it is`;
  }

  shapes(names) {
    const select = field("shape");
    const { value } = select;
    fill(select, [["", "any shape"], ...names.map((name) => [name, name])], names.includes(value) ? value : "");
  }

  get wishes() {
    const chosen = this.sounds[Number(field("sound").value)];
    return {
      parts: [...this.form.querySelectorAll('[name="part"]:checked')].map((box) => box.value),
      sounds: chosen ? { right: chosen } : {},
      tempo: Number(field("tempo").value),
      volume: Number(field("volume").value),
      loop: field("loop").checked,
      slow: field("slow").checked,
      countIn: field("count-in").checked,
      shift: Number(field("key").value),
      names: field("names").checked,
      fingers: field("fingers").checked,
      show: field("show").value,
      shape: field("shape").value,
      busy: field("busy").value,
      hard: field("hard").value,
      sort: field("sort").value,
    };
  }

  set shift(shift) {
    field("key").value = String(shift);
  }

  tell() {
    const { wishes } = this;
    document.getElementById("tempo-value").textContent = `${wishes.tempo} a minute`;
    document.getElementById("volume-value").textContent = `${wishes.volume} %`;
    document.body.classList.toggle("show-names", wishes.names);
    document.body.classList.toggle("show-fingers", wishes.fingers);
    this.store.set("wishes", Object.fromEntries(KEPT.map((name) => [name, wishes[name]])));
  }
}
