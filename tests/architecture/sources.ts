import { readFileSync, readdirSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import ts from 'typescript'

export const ROOT = fileURLToPath(new URL('../..', import.meta.url))

export interface Source {
  /** From the project's root, e.g. `src/domain/phone.ts`. */
  path: string
  text: string
  tree: ts.SourceFile
}

/** Every TypeScript file below a folder. */
export function sources(folder: string): Source[] {
  const names = readdirSync(join(ROOT, folder), { recursive: true, encoding: 'utf8' })
  return names
    .filter((name) => name.endsWith('.ts') && !name.endsWith('.d.ts'))
    .map((name) => read(join(folder, name), readFileSync(join(ROOT, folder, name), 'utf8')))
}

export function read(path: string, text: string): Source {
  return { path, text, tree: ts.createSourceFile(path, text, ts.ScriptTarget.Latest, true) }
}

export function walk(node: ts.Node, visit: (node: ts.Node) => void): void {
  visit(node)
  node.forEachChild((child) => walk(child, visit))
}

/**
 * Lines of each function of every kind: declared, method, arrow, expression, accessor. Lines of functions within it are
 * theirs, but for the first.
 */
export function functionLengths({ tree, path }: Source): { name: string; lines: number }[] {
  const lineAt = (at: number) => tree.getLineAndCharacterOfPosition(at).line
  const linesOf = (node: ts.Node) => lineAt(node.getEnd()) - lineAt(node.getStart()) + 1
  const lengths: { name: string; lines: number }[] = []
  walk(tree, (node) => {
    if (!isFunction(node)) return
    const within = functionsWithin(node).reduce((sum, each) => sum + linesOf(each) - 1, 0)
    lengths.push({ name: `${path}:${lineAt(node.getStart()) + 1}`, lines: linesOf(node) - within })
  })
  return lengths
}

function isFunction(node: ts.Node): boolean {
  return ts.isFunctionLike(node) && 'body' in node && node.body !== undefined
}

/** The nearest ones below it. */
function functionsWithin(node: ts.Node): ts.Node[] {
  const found: ts.Node[] = []
  node.forEachChild((child) => void found.push(...(isFunction(child) ? [child] : functionsWithin(child))))
  return found
}

const WIDEST = 120
const TEXTS: ReadonlySet<ts.SyntaxKind> = new Set([
  ts.SyntaxKind.StringLiteral,
  ts.SyntaxKind.NoSubstitutionTemplateLiteral,
  ts.SyntaxKind.TemplateHead,
  ts.SyntaxKind.TemplateMiddle,
  ts.SyntaxKind.TemplateTail,
  ts.SyntaxKind.RegularExpressionLiteral,
])

/** Lines of more than 120 characters. A text that reaches beyond may, in code that the formatter cannot break. */
export function wideLines({ tree, text, path }: Source): string[] {
  const texts: [from: number, to: number][] = []
  walk(tree, (node) => {
    if (TEXTS.has(node.kind) || ts.isTemplateExpression(node)) texts.push([node.getStart(), node.getEnd()])
  })
  return tree.getLineStarts().flatMap((start, index) => {
    const end = text.indexOf('\n', start)
    if ((end < 0 ? text.length : end) - start <= WIDEST) return []
    const at = start + WIDEST
    return texts.some(([from, to]) => from <= at && at <= to + 2) ? [] : [`${path}:${index + 1}`]
  })
}
