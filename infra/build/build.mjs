import { compile } from './compile.mjs'
await compile()
