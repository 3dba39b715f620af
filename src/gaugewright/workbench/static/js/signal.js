// Sound and vibration, for hands in gloves and eyes elsewhere.

const PATTERNS = {
  steady: { tones: [[880, 0.12]], shake: [60] },
  recorded: {
    tones: [
      [660, 0.09],
      [990, 0.14],
    ],
    shake: [60, 60, 60],
  },
  finding: {
    tones: [
      [311, 0.22],
      [233, 0.22],
      [311, 0.22],
    ],
    shake: [250, 100, 250, 100, 250],
  },
};

let context = null;

/** Whether this device is allowed to sound. */
export function isOn() {
  return localStorage.getItem("gw-sound") === "on";
}

/** Browsers let a page sound only after a touch: make ready at the first one. */
export function unlock() {
  if (!isOn() || context || !window.AudioContext) return;
  context = new AudioContext();
}

/** Give a signal: steady, recorded or finding. */
export function signal(name) {
  if (!isOn()) return;
  const { tones, shake } = PATTERNS[name];
  navigator.vibrate?.(shake);
  if (!context) return;
  let at = context.currentTime + 0.01;
  for (const [hertz, seconds] of tones) {
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.frequency.value = hertz;
    gain.gain.setValueAtTime(0.3, at);
    gain.gain.linearRampToValueAtTime(0.0001, at + seconds);
    tone.connect(gain).connect(context.destination);
    tone.start(at);
    tone.stop(at + seconds);
    at += seconds + 0.05;
  }
}
