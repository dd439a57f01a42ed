import { SaxesParser } from 'saxes'

/** An element of a document. Names are without their prefixes: peers choose those as they like. */
export interface XmlNode {
  name: string
  attributes: Record<string, string>
  children: XmlNode[]
  text: string
}

/**
 * Reads a document with namespaces, character references and CDATA sections. A document type is refused, and with it
 * every entity of its own: nothing outside the document is ever read.
 *
 * @returns a node whose only child is the root; undefined where this is no well-formed document
 */
export function parseXml(text: string): XmlNode | undefined {
  const top = nodeOf('', {})
  const open = [top]
  const parser = new SaxesParser({ xmlns: true })
  let isRefused = false
  const refuse = () => (isRefused = true)
  const add = (piece: string) => (open.at(-1)!.text += piece)
  parser.on('error', refuse)
  parser.on('doctype', refuse)
  parser.on('text', add)
  parser.on('cdata', add)
  parser.on('opentag', ({ local, attributes }) => {
    const values = Object.values(attributes).map((each) => [each.local, each.value])
    const node = nodeOf(local, Object.fromEntries(values) as Record<string, string>)
    open.at(-1)!.children.push(node)
    open.push(node)
  })
  parser.on('closetag', () => open.pop())
  parser.write(text).close()
  return isRefused ? undefined : top
}

function nodeOf(name: string, attributes: Record<string, string>): XmlNode {
  return { name, attributes, children: [], text: '' }
}

const STEP = /^(.+?)(?:\[(\d+)\])?$/

/** The elements at `a/b[1]/c` below a node; `[0]` is the first of that name. */
export function elementsAt(node: XmlNode | undefined, path: string): XmlNode[] {
  const steps = path.split('/').filter((step) => step !== '')
  return steps.reduce<XmlNode[]>((found, step) => found.flatMap((each) => childrenOf(each, step)), node ? [node] : [])
}

function childrenOf({ children }: XmlNode, step: string): XmlNode[] {
  const [, name, index] = STEP.exec(step)!
  const named = children.filter((child) => child.name === name)
  return index === undefined ? named : named.slice(Number(index), Number(index) + 1)
}

/** The text of the first element at `a/b`, with that of its children, or the attribute at `a/b/@c`. */
export function valueAt(node: XmlNode | undefined, path: string): string | undefined {
  const [elements, attribute] = path.split('/@')
  const [found] = elementsAt(node, elements!)
  return attribute === undefined ? found && wholeText(found) : found?.attributes[attribute]
}

function wholeText(node: XmlNode): string {
  return node.children.length === 0 ? node.text : node.text + node.children.map(wholeText).join('')
}

const DECLARED = /^[^<]{0,4}<\?xml[^>]*?\sencoding\s*=\s*["']([A-Za-z0-9._-]+)["']/

/** The charset that a document names in its first line. */
export function declaredCharset(body: Buffer): string | undefined {
  return DECLARED.exec(body.subarray(0, 200).toString('latin1'))?.[1]
}
