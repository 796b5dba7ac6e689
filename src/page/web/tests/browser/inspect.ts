// What every view must keep to at every size, light and dark: no scrolling to the side, targets for gloves, digits for two metres,
// nothing that axe finds. A picture of it is kept for people to look at.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { shots, WEB } from './bench.ts';
import { type Size, SIZES, type Watched } from './page.ts';

/** Type of live digits and sides of a target at the least, CSS pixels. */
const DIGITS_PX = 110;
const TARGET_PX = 56;
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
const AXE = readFileSync(join(WEB, 'node_modules/axe-core/axe.min.js'), 'utf8');

/** What axe finds, each with the places where it found it. */
async function axe(page: Page): Promise<string[]> {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(AXE);
  return page.evaluate(async (rules) => {
    const { axe } = window as unknown as { axe: { run(of: Document, how: unknown): Promise<{ violations: { id: string; help: string; nodes: { target: unknown[]; failureSummary?: string }[] }[] }> } };
    const { violations } = await axe.run(document, { runOnly: { type: 'tag', values: rules }, resultTypes: ['violations'] });
    return violations.map((one) => `${one.id}: ${one.help} at ${one.nodes.map((node) => `${node.target.join(' ')} (${node.failureSummary ?? ''})`).join('; ')}`);
  }, RULES);
}

/** What breaks the layout: what runs over the side, targets that are too small, digits that are. */
const layout = (page: Page): Promise<string[]> =>
  page.evaluate(
    ([target, digits]) => {
      const found: string[] = [];
      const wide = document.documentElement.clientWidth;
      if (document.documentElement.scrollWidth > wide) {
        const over = [...document.querySelectorAll('body *')].filter((one) => one.getBoundingClientRect().right > wide + 1).map((one) => `${one.tagName}.${one.className}`);
        found.push(`scrolls to the side, ${document.documentElement.scrollWidth} of ${wide} px: ${over.slice(0, 6).join(', ')}`);
      }
      const seen = (one: Element): boolean => one.checkVisibility({ visibilityProperty: true }) && one.getBoundingClientRect().width > 2;
      /** A link within a sentence is as tall as the sentence's type. */
      const inSentence = (one: Element): boolean => one.tagName === 'A' && getComputedStyle(one).display === 'inline' && (one.parentElement?.textContent?.trim() ?? '') !== one.textContent?.trim();
      for (const one of document.querySelectorAll('a, button, input, select, summary')) {
        if (!seen(one) || one.classList.contains('skip') || inSentence(one)) continue;
        const { width, height } = one.getBoundingClientRect();
        // Parts of a pixel are lost where a row is shared out.
        if (width < target - 0.5 || height < target - 0.5) found.push(`target of ${Math.round(width)} × ${Math.round(height)} px: ${one.tagName}.${one.className} '${(one.textContent ?? '').trim().slice(0, 40)}'`);
      }
      for (const one of document.querySelectorAll('.big .digits')) {
        const box = one.getBoundingClientRect();
        if (Number.parseFloat(getComputedStyle(one).fontSize) < digits) found.push(`digits of ${getComputedStyle(one).fontSize}`);
        if (box.right > wide) found.push(`digits are cut off: '${one.textContent}' ends at ${Math.round(box.right)} of ${wide} px`);
      }
      return found;
    },
    [TARGET_PX, DIGITS_PX] as const,
  );

/** Looks a view over. `at` names it in the answer and in the picture's file; `rules`: let axe look too. */
export async function inspect(watched: Watched, at: string, size: Size, theme: 'light' | 'dark', rules = true): Promise<string[]> {
  const { page } = watched;
  assert.equal(await page.evaluate(() => document.documentElement.dataset['theme']), theme);
  await page.evaluate(() => document.fonts.ready);
  await watched.settled();
  const found = await layout(page);
  // Axe and the picture take a view as if scrolled through: bars that stay in sight would lie on what is behind them.
  const high = await page.evaluate(() => document.documentElement.scrollHeight);
  await page.setViewportSize({ width: SIZES[size].width, height: Math.max(high, SIZES[size].height) });
  if (rules) found.push(...(await axe(page)));
  // The picture is for people, and a browser under load gives one up now and then: it is asked twice.
  const path = join(shots(), `${at}-${size}-${theme}.png`);
  await page.screenshot({ path }).catch(() => page.screenshot({ path }));
  await page.setViewportSize(SIZES[size]);
  return found.map((one) => `${at}, ${size}, ${theme}: ${one}`);
}
