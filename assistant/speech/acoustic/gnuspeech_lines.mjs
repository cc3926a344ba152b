// Says lines with the npm package @echogarden/gnuspeech-wasm, a model of the vocal tract.
// In: OUT, TEXT, then settings NAME=VALUE, apart by tabs. Out: "ok", or what went wrong.
// Run it as: node gnuspeech_lines.mjs FOLDER, where FOLDER holds node_modules.
import { readFileSync, writeFileSync } from 'node:fs'
import { createInterface } from 'node:readline'
import { join, resolve } from 'node:path'

const inside = resolve(process.argv[2], 'node_modules', '@echogarden', 'gnuspeech-wasm')
const { default: load } = await import(join(inside, 'wasm', 'gnuspeech.js'))
const DATA = '/data/en'
const OFTEN = 40 // a fresh module now and then: it never gives memory back
let engine = null
let said = 0

function put(name, settings) {
  const lines = engine.original[name].split('\n').map((line) => {
    const at = line.split('=')[0].trim()
    return at in settings && line.includes('=') ? `${at} = ${settings[at]}` : line
  })
  engine.FS.writeFile(`${DATA}/${name}`, lines.join('\n'))
}

async function fresh() {
  engine = await load({ print: () => {}, printErr: () => {} })
  const names = ['voice_male.txt', 'trm_control_model.txt', 'trm.txt']
  const read = (name) => [name, readFileSync(join(inside, 'data', 'en', name), 'utf8')]
  engine.original = Object.fromEntries(names.map(read))
  said = 0
}

function texts(...given) {
  return given.map((one) => {
    const bytes = Buffer.from(`${one}\0`, 'utf8')
    const at = engine._malloc(bytes.length)
    engine.HEAPU8.set(bytes, at)
    return at
  })
}

for await (const line of createInterface({ input: process.stdin })) {
  try {
    if (engine === null || said >= OFTEN) await fresh()
    said += 1
    const [out, text, ...given] = line.split('\t')
    const settings = Object.fromEntries(given.map((one) => one.split('=')))
    for (const name of Object.keys(engine.original)) put(name, settings)
    const at = texts(text, './out.wav', DATA, './out.txt')
    engine._GnuSpeech_synthesizeToFile(...at, false)
    at.forEach((one) => engine._free(one))
    writeFileSync(out, engine.FS.readFile('./out.wav'))
    process.stdout.write('ok\n')
  } catch (error) {
    engine = null
    process.stdout.write(`${String(error).split('\n')[0]}\n`)
  }
}
