// Keys for gloves: digits, a point, one step back.
export function Pad({ value, set, unit, was }: { value: string, set: (v: string | ((was: string) => string)) => void, unit: string, was?: string }) {
  const press = (k: string) => set((was) => k === 'back' ? was.slice(0, -1) : (k === '.' && was.includes('.')) || was.length > 7 ? was : was + k)
  return <div class="pad">
    <label class="shown"><input aria-label="Value" inputMode="decimal" value={value} placeholder={was} onInput={(e) => set(e.currentTarget.value.replace(',', '.').replace(/[^\d.]/g, ''))} /> <span>{unit}</span></label>
    {['1', '2', '3', '4', '5', '6', '7', '8', '9', '.', '0', 'back'].map((k) => <button type="button" key={k} onClick={() => press(k)} aria-label={k === '.' ? 'point' : k}>{k}</button>)}
  </div>
}
