import { readFileSync, readdirSync } from 'node:fs'
import { dirname, join, relative, resolve } from 'node:path'
import { fileURLToPath } from 'node:url'
import ts from 'typescript'

export const ROOT = fileURLToPath(new URL('../..', import.meta.url))

export interface Source {
  /** From the project's root, e.g. `src/domain/phone.ts`. */
  path: string
  text: string
  tree: ts.SourceFile
  /** Imported files of the project, from its root. */
  files: string[]
  /** Imported packages and Node modules. */
  packages: string[]
}

/** Every TypeScript file below a folder. */
export function sources(folder: string): Source[] {
  const names = readdirSync(join(ROOT, folder), { recursive: true, encoding: 'utf8' })
  return names.filter((name) => name.endsWith('.ts') && !name.endsWith('.d.ts')).map((name) => read(join(folder, name)))
}

function read(path: string): Source {
  const text = readFileSync(join(ROOT, path), 'utf8')
  const tree = ts.createSourceFile(path, text, ts.ScriptTarget.Latest, true)
  const imported = importsOf(tree)
  return {
    path,
    text,
    tree,
    files: imported.filter((name) => name.startsWith('.')).map((name) => relative(ROOT, resolve(ROOT, dirname(path), name))),
    packages: imported.filter((name) => !name.startsWith('.')),
  }
}

function importsOf(tree: ts.SourceFile): string[] {
  const found: string[] = []
  walk(tree, (node) => {
    const isStatic = (ts.isImportDeclaration(node) || ts.isExportDeclaration(node)) && node.moduleSpecifier
    const isDynamic = ts.isCallExpression(node) && node.expression.kind === ts.SyntaxKind.ImportKeyword
    const specifier = isStatic ? node.moduleSpecifier : isDynamic ? node.arguments[0] : undefined
    if (specifier && ts.isStringLiteral(specifier)) found.push(specifier.text)
  })
  return found
}

export function walk(node: ts.Node, visit: (node: ts.Node) => void): void {
  visit(node)
  node.forEachChild((child) => walk(child, visit))
}

/** Lines of each named function and method of a file. */
export function functionLengths({ tree, path }: Source): { name: string; lines: number }[] {
  const lengths: { name: string; lines: number }[] = []
  walk(tree, (node) => {
    const isFunction = ts.isFunctionDeclaration(node) || ts.isMethodDeclaration(node) || ts.isConstructorDeclaration(node)
    if (!isFunction || !node.body) return
    const line = (at: number) => tree.getLineAndCharacterOfPosition(at).line
    const name = node.name && 'text' in node.name ? node.name.text : 'constructor'
    lengths.push({ name: `${path}: ${name}`, lines: line(node.getEnd()) - line(node.getStart()) + 1 })
  })
  return lengths
}
